"""What comes in and goes out: files found by name, bitmaps, records of who made a file."""
