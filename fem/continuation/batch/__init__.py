"""Equilibrium paths of many tubes under pressure, as arrays, for any batch model."""
