"""What is asked: tube, thread families, slack, drive and free end; TOML in and out."""
