"""Where an event was, only as exactly as the study allows."""

from __future__ import annotations

import math

from sheet_reader.results.frames import identifier
from sheet_reader.study.model import Study

METRES_PER_DEGREE = 111_320.0
"""Of latitude, and of longitude on the equator, the most it can be (WGS 84, rounded)."""
TERMS = (
    "locationID", "locality", "decimalLatitude", "decimalLongitude", "geodeticDatum",
    "coordinatePrecision", "coordinateUncertaintyInMeters", "dataGeneralizations",
    "informationWithheld",
)  # fmt: skip


def place(study: Study, number: str) -> tuple[str, ...]:
    """A value for each of :data:`TERMS` for a site; coordinates are rounded, and the radius within
    which the place then lies is told.
    """
    site, said = study.site(number), study.publication
    location = identifier(study, number)
    if site is None:
        return (location, *[""] * (len(TERMS) - 1))
    name = site.label if said.place_names else ""
    decimals = said.place_decimals
    withheld = [] if said.place_names else ["name of the place"]
    if decimals is None or site.latitude is None or site.longitude is None:
        withheld += ["coordinates"] if site.latitude is not None else []
        return location, name, "", "", "", "", "", "", _withheld(withheld)
    step = 10.0**-decimals
    radius = math.ceil(step / 2.0 * math.sqrt(2.0) * METRES_PER_DEGREE)
    return (
        location,
        name,
        _rounded(site.latitude, decimals),
        _rounded(site.longitude, decimals),
        "EPSG:4326",
        f"{step:.{decimals}f}",
        str(max(radius, 1)),
        f"coordinates rounded to {decimals} decimals of a degree",
        _withheld(withheld),
    )


def _rounded(degrees: float, decimals: int) -> str:
    return f"{round(degrees, decimals) + 0.0:.{decimals}f}"  # no -0


def _withheld(what: list[str]) -> str:
    return f"{' and '.join(what)} withheld" if what else ""
