"""Files: traces, rigs, JSON lines, the journal of a running trial."""
