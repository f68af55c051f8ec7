"""Signs: what a record shows, one function each, listed in one table."""
