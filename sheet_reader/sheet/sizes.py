"""Sizes of print: no text that a volunteer reads is smaller than these."""

from __future__ import annotations

POINT = 25.4 / 72
"""A typographic point in mm."""
LABEL = 10 * POINT
"""Labels of fields, plots and comments."""
INSTRUCTION = 9 * POINT
"""What to do."""
HINT = 8 * POINT
"""Notes and captions."""
TITLE = 18 * POINT
PLOT = 13 * POINT
"""Largest sizes of the sheet's and of a plot's title."""
CAPITAL = 0.73
"""Height of a capital of the typeface, in sizes."""
DESCENT = 0.21
"""How far letters reach below the baseline, in sizes."""
HAIRLINE = 0.18
RULE = 0.5
"""Thickness of light and heavy rules."""
