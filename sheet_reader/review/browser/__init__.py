"""The review as a local page, on the same cards, decisions and sitting as the terminal."""
