"""A result or a study as one self-contained HTML page."""
