"""The equilibrium path of any model: loading, Newton's method, adaptive steps, limit points."""
