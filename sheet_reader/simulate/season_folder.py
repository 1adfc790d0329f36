"""The folder of a made-up season: the bean study with many sites, and its record."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from sheet_reader.atomic import atomic_write, private_folder
from sheet_reader.reading.opening import open_record
from sheet_reader.simulate.bean_season import SITES, WEEKS, made_sheets
from sheet_reader.simulate.samples import copy_in_season
from sheet_reader.simulate.season_record import keep_season
from sheet_reader.study.model import Study
from sheet_reader.study.reader import read_study
from sheet_reader.study.site_numbers import choose_numbers

_PLACES = ("Millrace", "Orchard", "Chapel", "Quarry", "Heron", "Kiln", "Ferry", "Sluice",
           "Juniper", "Brickfield")  # fmt: skip
_KINDS = ("allotments", "lane", "yard")


def make_season_folder(
    folder: Path, today: date, seed: int, sites: int = SITES, weeks: int = WEEKS
) -> tuple[Study, int]:
    """Write the study into ``folder`` and the record of ``weeks`` weeks; the visit after them is
    expected on the day after ``today``. Gives the study and the number of sheets.

    Raises OSError where it can't be written.
    """
    copy_in_season("bean_tips", folder, today, weeks)
    atomic_write({folder / "sites.csv": _site_list(sites).encode()})
    private_folder(folder / "inbox")
    study = read_study(folder)
    with open_record(study) as record:
        return study, keep_season(record, made_sheets(study, seed, weeks), seed)


def _site_list(sites: int) -> str:
    lines = ["number,label,contact"]
    for place, number in enumerate(choose_numbers(sites, digits=4).numbers):
        name = f"{_PLACES[place % len(_PLACES)]} {_KINDS[place // len(_PLACES) % len(_KINDS)]}"
        again = place // (len(_PLACES) * len(_KINDS))
        name += f" {again + 1}" if again else ""
        lines.append(f"{number},{name},{name.replace(' ', '.').lower()}@example.org")
    return "\n".join(lines) + "\n"
