"""sheet_reader: print count sheets, read their photographs, ask about the doubtful fields only."""

__all__ = ["__version__"]

__version__ = "0.1.0"
