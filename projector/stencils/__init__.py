"""Stencils: bitmaps that pass light or stop it."""
