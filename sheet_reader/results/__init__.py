"""Room 9, results: rows, readings, reminders."""
