"""How much light, against what else, and when."""
