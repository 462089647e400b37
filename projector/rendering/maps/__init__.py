"""Maps of the light on a surface: their points, what falls there, what open gates would give, and their files."""
