"""Figures and pages; the only user of matplotlib."""
