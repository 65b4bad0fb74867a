"""The page that shows results in a browser, served to this machine only."""
