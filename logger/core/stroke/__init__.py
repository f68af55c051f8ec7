"""One recorded throw, from samples to a verdict; and what only several throws together show."""
