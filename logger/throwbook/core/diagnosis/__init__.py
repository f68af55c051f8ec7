"""From figures to signs, causes and a verdict; and what only several throws together show."""
