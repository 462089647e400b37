"""What a picture's tones say: how they spread, what clips, how far they lie from a reference."""
