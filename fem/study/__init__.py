"""Parameter studies: one case, many settings, each solved by one or more models."""
