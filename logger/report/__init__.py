"""Papers and plots."""
