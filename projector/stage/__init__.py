"""The one bridge from a scene to arrays, flat and in SI, as kernels want them."""
