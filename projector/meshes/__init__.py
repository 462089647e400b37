"""Triangle meshes: read from files, or built as surfaces of a studio."""
