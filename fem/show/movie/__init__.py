"""Films of the path."""
