"""The sitter: a figure built in code, its landmarks, and the field its surface is drawn from."""
