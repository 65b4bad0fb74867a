"""From a case to its result: one case by all models, thousands by the fast model."""
