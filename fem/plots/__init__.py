"""Figures of results, studies, comparisons and trust."""
