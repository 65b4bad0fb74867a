"""Check of the installation: each part is tested in a separate process."""
