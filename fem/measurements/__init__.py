"""Bench data: files with units in their headers, read into tables."""
