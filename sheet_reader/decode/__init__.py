"""Room 6, decode: from box probabilities to field values with a reason for each doubt."""
