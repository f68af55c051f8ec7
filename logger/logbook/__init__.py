"""One SQLite file that holds years of a machine's life."""
