"""Units, arrays, errors, files: what every other package may use; nothing here knows a tube."""
