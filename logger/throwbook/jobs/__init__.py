"""One file per thing a person does. A job takes paths, ``now`` and a progress callback and returns data."""
