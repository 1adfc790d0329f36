"""Room 3, intake: files in, upright pictures out, nothing trusted."""
