"""Pictures and tables of where the fast model may be trusted."""
