"""Reads a study from its folder: ``study.toml`` and the site list, with all mistakes at once."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any, cast
from zoneinfo import available_timezones

from sheet_reader.atomic import STUDY_FILE as STUDY_FILE
from sheet_reader.errors import Mistake, StorageError, StudyError
from sheet_reader.study.days import Season
from sheet_reader.study.fields import read_counts, read_header, read_plots, read_sums
from sheet_reader.study.publication import read_effort, read_publication, read_update_plan
from sheet_reader.study.site_list import read_sites
from sheet_reader.study.study import Comments, Paper, Site, Study, Visits
from sheet_reader.study.table import AT_THE_TOP, Mistakes, TomlTable, nearest, shown
from sheet_reader.study.words import SheetWords, read_words

MOST_BYTES = 500_000
LEAST = 4
"""Visits that a site needs: four or five at least (common practice, no source)."""
LOOSEST = 0.01
"""A larger share of wrong fields than this is more than a person who types a sheet once makes
(0.29 %, Garza et al. 2025), several times over."""
KEYS = (
    *AT_THE_TOP, "season", "visits", "header", "plots", "counts", "sums", "comments", "words",
    "effort", "publication", "update", "review",
)  # fmt: skip
DATE_ORDERS = ("day month year", "month day year", "year month day")
_KEY = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*\Z")
LISTS = ("header", "plots", "counts", "sums")
"""The tables that are written with two brackets, once for each entry."""
_PLACE = re.compile(r"\(at line (\d+), column \d+\)\Z")
_CURLY = re.compile("[\u2018-\u201f\u00ab\u00bb]")
_QUOTED = re.compile(r""""[^"]*"|'[^']*'""")
_DAY = re.compile(r"(\d{1,4})\s*([./-])\s*(\d{1,2})\s*[./-]\s*(\d{1,4})\b")
_BRACKETS = re.compile(r"\s*\[+\s*([A-Za-z_]+)\s*\]*")
_TWICE = re.compile("Cannot (declare|overwrite|redefine|mutate)")
_VALUES = (
    (re.compile(r"(True|TRUE|False|FALSE)\b"), "true and false are written in small letters"),
    (re.compile(r"[-+]?\d+,\d"), "a number has a point, not a comma: 0.5"),
    (re.compile(r"[-+]?0\d"), "a number has no zeros in front; in quotes it is a text"),
    (re.compile(r"""["'][^"']*\Z"""), "the quote that begins here does not end on this line"),
    (re.compile(r"[^\W\d_]"), 'a text stands in straight quotes: "…"'),
    (re.compile(r"\Z|#"), "after = the value is missing"),
)
"""How a value may begin, and what is wrong then."""


def read_study(path: Path) -> Study:
    """Read and check the study at ``path`` (its folder, or the ``study.toml`` in it).

    Raises StudyError with every mistake of the file and the site list, each with its place, and
    StorageError where the file cannot be read at all.
    """
    file = path / STUDY_FILE if path.is_dir() else path
    return _sound_study(file, _bytes(file), None)


def parse_study(data: bytes, folder: Path, sites: tuple[Site, ...]) -> Study:
    """The study that the text of a study file describes, with these ``sites`` whatever list it
    names. Raises StudyError with every mistake.
    """
    return _sound_study(folder / STUDY_FILE, data, sites)


def _sound_study(file: Path, data: bytes, sites: tuple[Site, ...] | None) -> Study:
    mistakes = Mistakes(data)
    top = TomlTable(_parse(file, data), "", mistakes)
    study = _study(top, file.parent, mistakes, sites)
    if mistakes.found or study is None:
        raise StudyError(file, tuple(mistakes.found))
    return study


def loose(allowed_error: float) -> str:
    """A remark on a share of wrong fields that is hardly meant, or ""."""
    if allowed_error <= LOOSEST:
        return ""
    return (
        f"allowed_error = {allowed_error:g} lets 1 of {round(1 / allowed_error)} accepted fields "
        "be wrong, unasked; usual is 0.002, 1 of 500"
    )


def _bytes(file: Path) -> bytes:
    try:
        with file.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise StorageError(
            "there is no study file here", where=file, remedy="give the study's folder"
        ) from None
    except OSError as error:
        raise StorageError(f"the study file can't be read: {error.strerror}", where=file) from None
    if len(data) > MOST_BYTES:
        raise StudyError(file, (Mistake(STUDY_FILE, "is larger than 500 kB; no study file is"),))
    return data


def _parse(file: Path, data: bytes) -> dict[str, Any]:
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        mistake = Mistake(f"line {line}", "is not UTF-8; save the file as UTF-8")
    except tomllib.TOMLDecodeError as error:
        mistake = _explained(data.decode("utf-8-sig"), str(error))
    except RecursionError:
        mistake = Mistake(STUDY_FILE, "is not TOML: too deeply nested")
    except ValueError as error:  # numbers beyond what Python reads
        mistake = Mistake(STUDY_FILE, f"is not TOML: {shown(str(error), 120)[1:-1]}")
    raise StudyError(file, (mistake,))


def _explained(text: str, said: str) -> Mistake:
    """The mistake in ``text`` of which the parser ``said`` something, in words that tell what to
    write; the parser's own words only where no better ones are known.
    """
    place = _PLACE.search(said)
    lines = text.split("\n")
    filled = [number for number, line in enumerate(lines, 1) if line.strip()]
    number = int(place[1]) if place else max(filled, default=1)
    line = lines[number - 1] if number <= len(lines) else ""
    return Mistake(f"line {number}", _meant(line, said))


def _meant(line: str, said: str) -> str:
    brackets = _BRACKETS.match(line)
    key, sign, value = (part.strip() for part in line.partition("="))
    if _CURLY.search(_QUOTED.sub("", line)):
        return f'has curly quotes; write straight ones: "…" ({shown(line.strip())})'
    if _TWICE.match(said):
        if brackets and brackets[1] in LISTS:
            return f"each of the {brackets[1]} begins with [[{brackets[1]}]], in two brackets"
        return f"{shown(brackets[1] if brackets else key)} is there twice; take one out"
    if brackets:
        name = brackets[1]
        right = f"[[{name}]]" if name in LISTS else f"[{name}]"
        return f"write {right}, with nothing else on the line but a remark after #"
    if sign and (day := _DAY.match(value)):
        return f"{shown(day[0])} is no day; write year-month-day without quotes{_example(day)}"
    if "\\" in line and "escape" in said.lower():
        return "a backslash in a text is written twice: \\\\"
    if not sign:
        colon = " (with =, not :)" if ":" in line else ""
        return f"{shown(line.strip())} is no setting; a line is: name = value{colon}"
    if not re.fullmatch(r"[A-Za-z0-9_-]+", key):
        return f"{shown(key)} is no name of a setting; a line is: name = value"
    for pattern, message in _VALUES:
        if pattern.match(value):
            return message
    return f"is not TOML: {shown(said, 120)[1:-1]}"


def _example(day: re.Match[str]) -> str:
    """`` , such as 2026-06-01`` for a day that can mean one thing only."""
    first, sign, month, last = day.groups()
    year, number = (last, first) if len(last) == 4 else (first, last)
    if sign == "/" or len(year) != 4 or not 1 <= int(month) <= 12 or not 1 <= int(number) <= 31:
        return ", such as 2026-06-01"
    return f": {year}-{int(month):02d}-{int(number):02d}, if it is on the calendar"


def _study(
    top: TomlTable, folder: Path, mistakes: Mistakes, sites: tuple[Site, ...] | None
) -> Study | None:
    top.only(KEYS)
    key = top.text("key", longest=16)
    if key and not _KEY.match(key):
        top.wrong(
            "key", f"{shown(key)} must be lower case letters and digits, parted by single hyphens"
        )
    title = top.text("title", longest=60)
    paper = top.choice("paper", ("A4", "Letter")) if top.has("paper") else "A4"
    words, letter_words, update_words = read_words(top)
    order, zone = _date_order(top, paper, words), _time_zone(top)
    send_to = top.text("send_to", longest=80, required=False)
    own_digits = top.flag("own_digits") or False
    error = top.number("allowed_error", 0.0, 0.5, fallback=0.002)
    if error in (0.0, 0.5):
        top.wrong("allowed_error", "must lie between 0 and 0.5, both excluded")
    season = _season(top)
    header = read_header(top)
    plots = read_plots(top)
    counts = read_counts(top)
    sums = read_sums(top, header, plots, counts)
    instructions = top.texts("instructions", longest=160, most=8, required=False)
    file = top.text("sites", longest=120, required=True)
    if file and Path(file).name != file:
        top.wrong("sites", "must be the name of a file in the study's folder")
    elif file and sites is None:
        boxes = next((h.boxes for h in header if h.kind.is_listed and h.boxes), None)
        sites = read_sites(folder / file, boxes, mistakes)
    visits = _visits(top)
    comments = _comments(top, words.comments)
    effort, publication = read_effort(top, header, counts), read_publication(top)
    update = read_update_plan(top, plots, counts)
    review = top.table("review", required=False)
    if review is not None:
        review.only(("asked_twice",))
    twice = 0.0 if review is None else review.number("asked_twice", 0.0, 1.0, fallback=0.0)
    if mistakes.found or season is None:
        return None
    if order == ("month", "day", "year"):
        words = replace(words, visit=_month_first(words.visit))
        letter_words = {name: _month_first(text) for name, text in letter_words.items()}
        update_words = {name: _month_first(text) for name, text in update_words.items()}
    return Study(
        key, title, cast(Paper, paper), season, visits, header, plots, counts, sums, comments,
        instructions, sites or (), folder, error, send_to, own_digits, words, file, effort,
        publication, tuple(letter_words.items()), update, tuple(update_words.items()),
        twice or 0.0, order, zone,
    )  # fmt: skip


def _date_order(top: TomlTable, paper: str, words: SheetWords) -> tuple[str, ...]:
    """The parts of a date in the order given or, on Letter paper in English, the month first."""
    usual = DATE_ORDERS[1 if paper == "Letter" and words.are_english else 0]
    given = top.choice("date_order", DATE_ORDERS) if top.has("date_order") else ""
    return tuple((given or usual).split())


def _month_first(text: str) -> str:
    """A text with a date in it as those write it who put the month first."""
    text = text.replace("{day} {month} {year}", "{month} {day}, {year}")
    return text.replace("{day} {month}", "{month} {day}")


def _time_zone(top: TomlTable) -> str:
    zone = top.text("time_zone", longest=60) if top.has("time_zone") else ""
    if zone and zone not in available_timezones():
        known = nearest(zone, available_timezones())
        top.wrong("time_zone", f"{shown(zone)} is no time zone such as “Pacific/Auckland”{known}")
    return zone


def _season(top: TomlTable) -> Season | None:
    table = top.table("season", required=True)
    if table is None:
        return None
    table.only(("first", "last"))
    first, last = table.day("first"), table.day("last")
    if first is None or last is None:
        return None
    if last < first:
        table.wrong("last", f"{last} lies before the first day, {first}")
    elif (last - first).days > 3660:
        table.wrong("last", "the season is longer than ten years")
    for key, day in (("first", first), ("last", last)):
        if not 2000 <= day.year <= 2099:
            table.wrong(key, "the year must lie from 2000 to 2099 (two digits are written)")
    return Season(first, last)


def _visits(top: TomlTable) -> Visits:
    table = top.table("visits", required=False)
    if table is None:
        return Visits()
    table.only(("interval_days", "tolerance_days", "least"))
    interval = table.whole("interval_days", 1, 366, required=False, fallback=7) or 7
    usual = min(2, (interval - 1) // 2)
    tolerance = table.whole("tolerance_days", 0, 366, required=False, fallback=usual)
    tolerance = usual if tolerance is None else tolerance
    if tolerance * 2 >= interval and table.has("tolerance_days"):
        table.wrong(
            "tolerance_days",
            f"{tolerance} must be less than half of the {interval} days between visits, "
            "or a visit could belong to two dates",
        )
    least = table.whole("least", 1, 366, required=False, fallback=LEAST) or LEAST
    return Visits(interval, tolerance, least)


def _comments(top: TomlTable, usual: str) -> Comments | None:
    table = top.table("comments", required=False)
    if table is None:
        return None
    table.only(("label", "height_mm"))
    label = table.text("label", longest=60, required=False, fallback=usual)
    return Comments(label, table.number("height_mm", 8, 120, fallback=20.0))
