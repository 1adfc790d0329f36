"""Photos kept unchanged; backups of the whole record, and their way back."""
