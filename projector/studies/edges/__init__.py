"""Edges of a pattern: how sharp, how soft, how coloured."""
