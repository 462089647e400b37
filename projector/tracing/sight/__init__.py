"""What of a light's opening a point sees."""
