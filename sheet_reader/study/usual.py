"""What a new study usually wants, where she does not say."""

from __future__ import annotations

import re

from sheet_reader.study.model import Paper

LETTER_TERRITORIES = frozenset(
    ("BZ", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE")
)
"""Where US Letter is the usual paper (Unicode CLDR, supplemental data, paperSize; from memory)."""


LOOSEST = 0.01
"""A larger share of wrong fields than this is more than a person who types a sheet once makes
(0.29 %, Garza et al. 2025), several times over."""


def loose(allowed_error: float) -> str:
    """A remark on a share of wrong fields that is hardly meant, or ""."""
    if allowed_error <= LOOSEST:
        return ""
    return (
        f"allowed_error = {allowed_error:g} lets 1 of {round(1 / allowed_error)} accepted fields "
        "be wrong, unasked; usual is 0.002, 1 of 500"
    )


def paper_for(locale: str) -> Paper:
    """The usual paper of a locale such as ``en_US.UTF-8`` or ``de-AT``; A4 where it says none.

    For writing a new study file, not for reading one: a sheet must not depend on whose machine
    lays it out, so a study file without ``paper`` always means A4.
    """
    found = re.match(r"[A-Za-z]{2,3}(?:[_-][A-Za-z]{4})?[_-]([A-Z]{2})(?![A-Za-z])", locale)
    return "Letter" if found and found[1] in LETTER_TERRITORIES else "A4"
