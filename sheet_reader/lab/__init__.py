"""Beside the rooms: what makes and measures the reader, and no coordinator ever needs."""
