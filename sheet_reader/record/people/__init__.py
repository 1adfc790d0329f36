"""Where people stand in a record, and how they are removed."""
