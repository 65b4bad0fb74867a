"""The live bench: settings turned by hand, answered at once by the fast model, later by FE."""
