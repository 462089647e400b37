"""What is said of a study's numbers, and the reading of what a person typed: used by commands, page and card."""
