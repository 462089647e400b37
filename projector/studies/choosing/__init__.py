"""Which stencil, focus or place: sheets of many pictures, and where a light may stand."""
