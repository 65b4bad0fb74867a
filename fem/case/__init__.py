"""Definition of a case: tube, thread families, slack, drive and free end; TOML files."""
