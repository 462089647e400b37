"""Rays against triangles: the tree, its traversal, first hits."""
