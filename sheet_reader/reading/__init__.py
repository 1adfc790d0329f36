"""Room 8, reading: what waits in the record is read, and handed back to it."""
