"""From the samples of a record to the figures of each movement in it."""
