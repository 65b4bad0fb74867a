"""Bench data held against what the models of a study say."""
