"""What the logbook holds, as plain data; which revision counts; how it is sealed and exported."""
