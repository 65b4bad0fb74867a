"""Comparison of measurements with the models of a study, and likely causes of differences."""
