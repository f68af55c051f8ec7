"""Serial ports and the recorder thread."""
