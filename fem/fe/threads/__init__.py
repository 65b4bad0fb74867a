"""Threads embedded in the wall: segments, lengths and their derivatives, tension."""
