"""From a case to its result: one case with any model, thousands with the fast model."""
