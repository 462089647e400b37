"""What a gate and a lens do to light: the lens's law, the gate's picture, its blurred stack."""
