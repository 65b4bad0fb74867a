"""Pictures of results."""
