"""The light that reaches a point: the fast way, and the plain reference it is held to."""
