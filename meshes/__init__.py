"""Parametric gmsh recipes, one file per body shape."""
