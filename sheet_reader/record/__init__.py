"""Room 7, record: what was read, decided, by whom; one SQLite file per study."""
