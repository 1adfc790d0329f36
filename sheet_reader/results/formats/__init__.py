"""The tables of a study in the forms that others can use. Each format is one pure function."""
