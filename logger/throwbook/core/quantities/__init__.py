"""Numbers as people write them and as they are worth: units, uncertainty, small samples, printable text."""
