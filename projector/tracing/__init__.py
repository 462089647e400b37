"""Kernels over flat arrays: rays, pupil, stencil. `arrays` is the one bridge from a scene."""
