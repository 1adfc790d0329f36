"""What was read and decided, and what holds of it."""
