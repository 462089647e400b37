"""The implicit surface of the figure, part by part."""
