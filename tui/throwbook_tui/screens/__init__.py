"""One screen, one thing a person does."""
