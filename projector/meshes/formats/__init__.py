"""Readers of mesh files, one for each format: bytes in, corners and faces out.

None of them allocates what the file only claims.
"""
