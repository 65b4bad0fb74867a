"""The equilibrium paths of many tubes by pressure at once, as arrays, for any batch model."""
