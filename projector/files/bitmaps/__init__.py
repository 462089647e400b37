"""What kind of file a bitmap is, and its pixels in bands of rows, whichever library decodes it."""
