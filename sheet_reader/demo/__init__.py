"""What the demo shows: the sample studies, a dozen photographs, and a season made up whole."""
