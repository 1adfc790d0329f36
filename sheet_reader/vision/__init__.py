"""Room 4, vision: from a grey picture to one flat crop per printed box."""
