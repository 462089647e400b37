"""How large a pattern lands and where."""
