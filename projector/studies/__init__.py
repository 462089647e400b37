"""Questions a photographer asks, each answered from values to values."""
