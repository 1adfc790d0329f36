"""A small study as plain values, the edits a coordinator may make to it, and its two files."""

from __future__ import annotations

import random
from collections.abc import Callable
from copy import deepcopy
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from sheet_reader.study.site_numbers import damm

Draft = dict[str, Any]
SHARES = (0.05, 0.01, 0.002, 0.001, 0.0005, 0.0003)
NAMES = ("aphids", "beetles", "crickets", "damselflies", "earwigs", "flies", "gnats", "hoverflies")
PLOTS = ("north", "south", "east", "west", "middle")
NUMBERS = ("helpers", "wind", "cloud")
SITES = tuple(f"{n}{damm(str(n))}" for n in range(100, 112))


def first_draft(chance: random.Random) -> Draft:
    """A study of two or three counts in one or two plots."""
    return {
        "key": "hedges",
        "title": "Hedge insects",
        "paper": "A4",
        "error": chance.choice(SHARES),
        "season": (date(2026, 4, 1), date(2026, 9, 30)),
        "header": [
            {"name": "site", "label": "Site", "kind": "site", "boxes": 4},
            {"name": "day", "label": "Visit date", "kind": "date"},
            _number("helpers"),
        ],
        "plots": [_plot(n) for n in PLOTS[: chance.randint(1, 2)]],
        "counts": [_count(n) for n in NAMES[: chance.randint(2, 3)]],
        "sums": [],
        "sites": list(SITES[:4]),
        "labels": {site: f"Hedge {site}" for site in SITES},
    }


def _number(name: str) -> dict[str, Any]:
    return {"name": name, "label": name, "kind": "number", "boxes": 2, "lowest": 1, "highest": 30}


def _count(name: str) -> dict[str, Any]:
    return {
        "name": name, "label": name, "unit": f"u {name}", "boxes": 2, "lowest": 0, "highest": 60,
    }  # fmt: skip


def _plot(name: str) -> dict[str, Any]:
    return {"name": name, "label": name, "treatment": f"t {name}"}


def write(draft: Draft, folder: Path) -> None:
    """study.toml and sites.csv."""
    lines = [f'{key} = "{draft[key]}"' for key in ("key", "title", "paper")]
    lines += ['sites = "sites.csv"', f"allowed_error = {draft['error']}", "[season]"]
    lines += [f"first = {draft['season'][0]}", f"last = {draft['season'][1]}"]
    for section in ("header", "plots", "counts", "sums"):
        for table in draft[section]:
            lines.append(f"[[{section}]]")
            lines += [f"{key} = {_toml(value)}" for key, value in table.items()]
    (folder / "study.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    sites = ["number,label,contact"]
    sites += [f"{site},{draft['labels'][site]}," for site in draft["sites"]]
    (folder / "sites.csv").write_text("\n".join(sites) + "\n", encoding="utf-8")


def _toml(value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(_toml(v) for v in value)}]"
    return str(value) if isinstance(value, int) else f'"{value}"'


def edited(draft: Draft, original: Draft, chance: random.Random) -> tuple[str, Draft]:
    """``draft`` after one edit, and the edit's name."""
    edit = chance.choice(EDITS)
    changed = deepcopy(original) if edit is put_back else deepcopy(draft)
    edit(changed, chance)
    return edit.__name__, changed


def put_back(draft: Draft, chance: random.Random) -> None:
    """The file as it was at first."""


def _section(chance: random.Random) -> tuple[str, tuple[str, ...]]:
    return chance.choice((("plots", PLOTS), ("counts", NAMES), ("header", NUMBERS)))


def _others(tables: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """All but the site and the date."""
    return [t for t in tables if t.get("kind", "number") == "number"]


def rename(draft: Draft, chance: random.Random) -> None:
    section, pool = _section(chance)
    tables = _others(draft[section])
    if tables:
        table = chance.choice(tables)
        old, table["name"] = table["name"], chance.choice(pool)
        if chance.random() < 0.7:
            for rule in draft["sums"] if section == "counts" else ():
                rule["total"] = table["name"] if rule["total"] == old else rule["total"]
                rule["parts"] = [table["name"] if p == old else p for p in rule["parts"]]


def remove(draft: Draft, chance: random.Random) -> None:
    section, _ = _section(chance)
    tables = _others(draft[section])
    if tables:
        gone = chance.choice(tables)
        draft[section].remove(gone)
        if chance.random() < 0.7:
            draft["sums"] = [
                r for r in draft["sums"] if gone["name"] not in (r["total"], *r["parts"])
            ]


def add(draft: Draft, chance: random.Random) -> None:
    section, pool = _section(chance)
    make = {"counts": _count, "header": _number, "plots": _plot}[section]
    draft[section].insert(chance.randint(0, len(draft[section])), make(chance.choice(pool)))


def reorder(draft: Draft, chance: random.Random) -> None:
    chance.shuffle(draft[chance.choice(("plots", "counts", "header", "sites"))])


def swap_names(draft: Draft, chance: random.Random) -> None:
    tables = _others(draft[_section(chance)[0]])
    if len(tables) > 1:
        one, other = chance.sample(tables, 2)
        one["name"], other["name"] = other["name"], one["name"]


def rename_site_or_date(draft: Draft, chance: random.Random) -> None:
    for table in draft["header"]:
        if table["kind"] == "site" and chance.random() < 0.5:
            table["name"] = chance.choice(("site", "hedge"))
        elif table["kind"] == "date" and chance.random() < 0.5:
            table["name"] = chance.choice(("day", "visit"))


def swap_site_with_number(draft: Draft, chance: random.Random) -> None:
    numbers = _others(draft["header"])
    if numbers:
        site = next(t for t in draft["header"] if t["kind"] == "site")
        other = chance.choice(numbers)
        site["name"], other["name"] = other["name"], site["name"]


def change_key(draft: Draft, chance: random.Random) -> None:
    draft["key"] = chance.choice(("hedges", "hedge-rows", "Hedges!"))


def change_share(draft: Draft, chance: random.Random) -> None:
    draft["error"] = chance.choice(SHARES)


def change_season(draft: Draft, chance: random.Random) -> None:
    first = date(2026, 3, 1) + timedelta(days=chance.randrange(120))
    draft["season"] = (first, first + timedelta(days=chance.randrange(200)))


def change_sites(draft: Draft, chance: random.Random) -> None:
    sites = draft["sites"]
    what = chance.choice(("remove", "add", "renumber"))
    if what != "add" and len(sites) > 1:
        sites.pop(chance.randrange(len(sites)))
    if what != "remove":
        sites.append(chance.choice(SITES))


def change_range(draft: Draft, chance: random.Random) -> None:
    tables = [*_others(draft["header"]), *draft["counts"]]
    if tables:
        chance.choice(tables).update(lowest=chance.choice((0, 0, 5)), highest=chance.randint(3, 99))


def change_boxes(draft: Draft, chance: random.Random) -> None:
    tables = [t for t in (*draft["header"], *draft["counts"]) if "boxes" in t]
    chance.choice(tables)["boxes"] = chance.randint(2, 5)


def change_words(draft: Draft, chance: random.Random) -> None:
    draft["title"] = chance.choice(("Hedge insects", "Insects of hedges"))
    draft["paper"] = chance.choice(("A4", "Letter"))
    if draft["counts"]:
        chance.choice(draft["counts"])["label"] = f"All {chance.choice(NAMES)}"


def swap_words(draft: Draft, chance: random.Random) -> None:
    """Labels, treatments or units of two things change places."""
    tables = _others(draft[_section(chance)[0]])
    if len(tables) > 1:
        one, other = chance.sample(tables, 2)
        keys = [k for k in ("label", "treatment", "unit") if k in one and k in other]
        for key in chance.sample(keys, 1):
            one[key], other[key] = other[key], one[key]


def change_word(draft: Draft, chance: random.Random) -> None:
    tables = _others(draft[_section(chance)[0]])
    if tables:
        table = chance.choice(tables)
        key = chance.choice([k for k in ("label", "treatment", "unit") if k in table])
        table[key] = f"{table[key]}!" if key == "label" else chance.choice(("cut", "min", "h"))


def swap_site_labels(draft: Draft, chance: random.Random) -> None:
    one, other = chance.sample(SITES[:6], 2)
    labels = draft["labels"]
    labels[one], labels[other] = labels[other], labels[one]


def change_site_labels(draft: Draft, chance: random.Random) -> None:
    for site in chance.sample(SITES, chance.choice((1, 1, len(SITES)))):
        draft["labels"][site] += "."


def change_parts(draft: Draft, chance: random.Random) -> None:
    names = [c["name"] for c in draft["counts"]]
    for rule in draft["sums"]:
        others = [n for n in names if n != rule["total"]]
        if others:
            rule["parts"] = chance.sample(others, chance.randint(1, len(others)))


def change_sums(draft: Draft, chance: random.Random) -> None:
    names = [c["name"] for c in draft["counts"]]
    if draft["sums"] or len(names) < 2:
        draft["sums"] = []
    else:
        total, *parts = chance.sample(names, chance.randint(2, len(names)))
        draft["sums"] = [{"total": total, "parts": parts}]


EDITS: tuple[Callable[[Draft, random.Random], None], ...] = (
    put_back, rename, rename, remove, remove, add, add, reorder, swap_names, rename_site_or_date,
    swap_site_with_number, change_key, change_share, change_share, change_season, change_sites,
    change_sites, change_range, change_boxes, change_words, change_sums, swap_names, swap_words,
    swap_words, change_word, swap_site_labels, change_site_labels, change_parts,
)  # fmt: skip
