"""What a lens is like, from photographs of a projected edge."""
