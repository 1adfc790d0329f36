"""The study of the demo and its photographs as they ship: made up, their truth known."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

from sheet_reader.demo.samples import in_season, sample_folder

SAMPLE = "bean_tips"
SITES, FIRST, LAST = 4, date(2026, 4, 20), date(2026, 5, 10)
"""The first sites of the sample's list, each visited once a week in a season of three weeks."""
FOLDER = Path(__file__).parent / "photographs"
TRUTH = "truth.json"


def folder_files() -> dict[str, bytes]:
    """What the demo's folder begins with: study file, site list, photographs; by place in it."""
    study = in_season(SAMPLE, FIRST, LAST).replace("least = 4", "least = 3")
    sites = (sample_folder(SAMPLE) / "sites.csv").read_bytes().splitlines(keepends=True)
    photographs = sorted(FOLDER.glob("*.jpg"))
    return {
        "study.toml": study.encode(),
        "sites.csv": b"".join(sites[: 1 + SITES]),
        **{f"inbox/{path.name}": path.read_bytes() for path in photographs},
    }


def truth() -> dict[tuple[str, str], dict[str, str | None]]:
    """What was written, by field, for each file and sheet (its printed site number, or BLANK)."""
    told = json.loads((FOLDER / TRUTH).read_text("utf-8"))
    return {(file, sheet): told[key] for key in told for file, sheet in [key.split()]}
