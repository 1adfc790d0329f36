"""A score as a table to print."""

from __future__ import annotations

import numpy as np

from sheet_reader.decode.error_share import clopper_pearson
from sheet_reader.lab.scoring import Score
from sheet_reader.numbers import LAB

_WIDTH = LAB.report_width


def report(score: Score, level: str, rooms: str) -> list[str]:
    """The lines of the table; ``rooms`` "whole" or "vision"."""
    lines = [
        f"{level}: {score.photos} pictures, {score.sheets} sheets, {score.bare} without a sheet"
    ]
    lines += [
        _share("sheets found and rightly identified", score.found, score.sheets),
        _line("wrongly identified", f"{score.misidentified}"),
        _line("sheets seen where there is none", f"{score.false_sheets} of {score.bare} pictures"),
    ]
    if score.errors_mm:
        middle, high, top = np.percentile(score.errors_mm, [50, 95, 99.5])
        lines += [
            _line("box position error, median / 95 % / 99.5 %",
                  f"{middle:.3f} / {high:.3f} / {top:.3f} mm"),
            _share("visible boxes given up as hidden", score.boxes_occluded, score.boxes),
            _share("hidden boxes not noticed", score.lost_unnoticed, score.lost),
        ]  # fmt: skip
    if rooms == "whole":
        lines += fields_report(score)
    lines += _times(score)
    return lines


def fields_report(score: Score) -> list[str]:
    """The lines about fields."""
    return [
        _share("blank boxes taken for ink", score.blank_as_ink, score.blank),
        _share("inked boxes taken for blank", score.ink_as_blank, score.inked),
        _share("fields right before review", score.right, score.fields),
        _share("fields flagged", score.flagged, score.fields),
        _share("  sheet's own faults aside", score.plain_flagged, score.plain),
        _share("wrong among accepted", score.sure_wrong, score.sure, interval=True),
        _share("written, accepted as not recorded", score.missed, score.sure),
        _worst(score),
        _line("wrong site accepted", f"{score.site_wrong} of {score.found} sheets"),
        _line("wrong date accepted", f"{score.date_wrong} of {score.found} sheets"),
    ]


def _worst(score: Score) -> str:
    """The person with the largest share of wrong among accepted fields."""
    name = "worst of the people"
    if not any(score.people.values()):
        return _line(name, "–")
    who, marks = max(score.people.items(), key=lambda item: sum(item[1]) / max(1, len(item[1])))
    return _share(f"{name} ({who})", sum(marks), len(marks))


def _times(score: Score) -> list[str]:
    lines = []
    whole = 0.0
    for name, values in score.seconds.items():
        whole += sum(values)
        middle, high = np.percentile(values, [50, 95])
        lines.append(_line(f"{name}, median / 95 %", f"{middle * 1e3:.0f} / {high * 1e3:.0f} ms"))
    if score.photos:
        lines.append(_line("seconds per photo, mean", f"{whole / score.photos:.3f}"))
    return lines


def _line(name: str, value: str) -> str:
    return f"  {name:<{_WIDTH}}{value}"


def _share(name: str, part: int, whole: int, *, interval: bool = False) -> str:
    if not whole:
        return _line(name, "–")
    text = f"{100 * part / whole:.2f} %  ({part} of {whole})"
    if interval:
        low, high = clopper_pearson(part, whole, 0.95)
        text += f", 95 % interval {100 * low:.2f}–{100 * high:.2f} %"
    return _line(name, text)
