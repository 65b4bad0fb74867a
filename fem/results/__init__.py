"""Runs and results: recorded along the path, checked, written to a folder and read back."""
