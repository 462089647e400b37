"""What a scene's parts must agree on, by subject."""
