"""What is shown of a comparison with bench data."""
