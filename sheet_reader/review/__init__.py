"""Room 8, review: ask a person about the doubtful fields."""
