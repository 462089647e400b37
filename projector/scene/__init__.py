"""What stands in the studio, and how it is read from files."""
