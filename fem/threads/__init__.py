"""Threads: tension law and helix, as plain classes of numbers or arrays."""
