"""The sheet's first edition: kept as it was, so that sheets printed from it can still be read.

Nothing here may change a mark or a place; ``tests/sheet/first_edition`` holds what it printed.
"""
