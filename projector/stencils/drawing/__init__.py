"""The shipped stencils, drawn by code."""
