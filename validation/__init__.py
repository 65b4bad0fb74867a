"""The validation suite: a file for each published source, or for facts of common practice."""
