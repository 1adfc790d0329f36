"""A question and what a person said: settled, told and asked again, or refused."""
