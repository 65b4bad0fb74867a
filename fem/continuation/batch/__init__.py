"""The fast model over many cases at once, as arrays."""
