"""The validation book: a file to a published source, or to facts of common practice."""
