"""Laws of light for one projector: thin lens, dispersion, aberrations. No scene and no files."""
