"""The live explorer: slider settings, evaluated by the fast model at once and by FE on request."""
