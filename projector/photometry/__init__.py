"""Exposure, spectra, colour and filters."""
