"""The page: what is shown of results in a browser, served on this machine alone."""
