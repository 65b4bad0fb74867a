"""Parameter studies: one case, many settings, each model along the path of every one."""
