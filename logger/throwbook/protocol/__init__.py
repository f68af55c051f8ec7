"""Both sides of the board cable, without any input or output (bytes in, events out)."""
