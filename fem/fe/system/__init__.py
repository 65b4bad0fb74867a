"""The system of equations: admissible motions, assembly, factors, terms of low rank."""
