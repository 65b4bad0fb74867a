"""What was measured on a bench: files read strictly, in the units of their headers."""
