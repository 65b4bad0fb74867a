"""Pictures of parameter studies."""
