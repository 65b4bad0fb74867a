"""A result or a study as one page that needs nothing else."""
