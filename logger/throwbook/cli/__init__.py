"""The command line: parses, calls a job, prints through ``output`` and ``diagnostics``."""
