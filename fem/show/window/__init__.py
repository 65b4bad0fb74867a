"""The window on the screen."""
