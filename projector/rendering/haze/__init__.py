"""Haze in a picture: what of a light it sends to the camera, with the beam's own shape and shadows.

Light in the air is a smooth function of place but for edges of shafts and shadows; only where a pixel's ray ends is
sharp. So it is summed along the rays of a coarser grid, as far as any neighbour looks, where that is not even along
those of a finer one, and every point of the picture reads the sums of the four rays round it up to its own end:
outlines stay as sharp as they are. No stage sees the scene.
"""
