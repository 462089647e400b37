"""Light that surfaces send to each other, in pictures."""
