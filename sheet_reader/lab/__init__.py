"""Beside the rooms: what makes and measures the reader, and no coordinator ever needs."""

from sheet_reader.threads import one_thread_from_the_start

one_thread_from_the_start()  # each of its programs has its process to itself
