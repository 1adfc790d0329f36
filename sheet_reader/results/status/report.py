"""The status as lines for a terminal, as CSV and as JSON."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from datetime import date

from sheet_reader.reasons import Code
from sheet_reader.results.cells import render_csv
from sheet_reader.results.status.standing import STATES, SiteStatus, State, Status
from sheet_reader.wording import in_general

SIGNS: dict[State, str] = {
    "in": "o", "waits": "?", "incomplete": "/", "unclear": "~", "missed": "-", "not due": ".",
}  # fmt: skip
"""One sign for each state, the same in every terminal."""
MOST_REASONS = 8
MOST_NAMES = 4
LABEL = 22
Style = Callable[[str, State], str]
CSV_HEADER = (
    "site", "site_name", "expected", "state", "visit_dates", "days_off", "why",
)  # fmt: skip


def status_lines(status: Status, style: Style = lambda text, _: text) -> Iterator[str]:
    """The status for a terminal; ``style`` colours a sign by its state."""
    width = max([len(site.site) for site in status.sites], default=4)
    indent = " " * (width + LABEL + 2)
    yield f"{status.title}, {status.today:%Y-%m-%d}: {len(status.sites)} sites by expected visits"
    yield ""
    yield indent + _months(status.days)
    for site in status.sites:
        signs = " ".join(style(SIGNS[e.state], e.state) for e in site.expected)
        label = site.label[: LABEL - 1] + "…" if len(site.label) > LABEL else site.label
        yield f"{site.site:<{width}} {label:<{LABEL}} {signs}  {_since(site)}"
    yield ""
    for state, meaning in STATES.items():
        yield f"{style(SIGNS[state], state)} {state} ({status.count(state)}): {meaning}"
    yield from _open(status)


def _months(days: Sequence[date]) -> str:
    """The months above the first expected visit of each, where there is room."""
    signs = [" "] * (2 * len(days) + 4)
    free = 0
    for place, day in enumerate(days):
        if 2 * place >= free and (place == 0 or day.month != days[place - 1].month):
            name = f"{day:%b}"
            signs[2 * place : 2 * place + len(name)] = name
            free = 2 * place + len(name) + 1
    return "".join(signs).rstrip()


def _since(site: SiteStatus) -> str:
    if site.last_visit is None:
        return "nothing yet"
    visits = "visit" if site.came == 1 else "visits"
    few = ", too few" if site.too_few else ""
    return f"{site.days_since} days since the last; {site.came} {visits}{few}"


def _open(status: Status) -> Iterator[str]:
    few = [site.site for site in status.sites if site.too_few]
    if few:
        yield ""
        yield f"Can't have {status.least} visits any more ({len(few)}): {', '.join(few)}"
    undated = sum(site.unsettled for site in status.sites)
    unplaced = ((status.unsettled, "site"), (undated, "date"))
    for title, lines in (
        ("Waiting for you, by reason:", list(_waiting(status))),
        ("Photos that gave nothing, or not all:", list(_fruitless(status))),
        ("Sheets that wait for their place:",
         [f"{sheets} whose {what} waits for review" for sheets, what in unplaced if sheets]),
        ("In the tables, but not among the expected visits:",
         [f"site {site} on {day}: outside the season, or not on the site list"
          for site, day in status.outside]),
    ):  # fmt: skip
        if lines:
            yield from ("", title, *(f"  {line}" for line in lines))
    if status.promise:
        yield from ("", status.promise)


def _waiting(status: Status) -> Iterator[str]:
    entries = list(status.waiting.items())
    yield from (f"{count:>5}  {in_general(Code(code))}" for code, count in entries[:MOST_REASONS])
    rest = sum(count for _, count in entries[MOST_REASONS:])
    if rest:
        yield f"{rest:>5}  for other reasons"


def _fruitless(status: Status) -> Iterator[str]:
    for reason, names in status.fruitless.items():
        more = len(names) - MOST_NAMES
        shown = ", ".join(names[:MOST_NAMES]) + (f" and {more} more" if more > 0 else "")
        yield f"{shown}: {reason}"
    if status.unread:
        yield f"{status.unread} not read yet"


def status_csv(status: Status) -> bytes:
    """A line for each site and expected visit."""
    lines = (
        (
            site.site, site.label, e.day.isoformat(), e.state,
            " ".join(day.isoformat() for day in e.visits),
            "" if e.off is None else str(e.off), "; ".join(e.why),
        )
        for site in status.sites
        for e in site.expected
    )  # fmt: skip
    return render_csv(CSV_HEADER, lines)


def status_json(status: Status) -> bytes:
    """All of the status."""
    found = {
        "title": status.title,
        "today": status.today.isoformat(),
        "least_visits": status.least,
        "states": {state: status.count(state) for state in STATES},
        "waiting": [
            {"code": code, "words": in_general(Code(code)), "fields": fields}
            for code, fields in status.waiting.items()
        ],
        "photos_that_gave_nothing": {r: list(names) for r, names in status.fruitless.items()},
        "photos_not_read_yet": status.unread,
        "sheets_without_site": status.unsettled,
        "outside": [{"site": site, "visit_date": day} for site, day in status.outside],
        "promise": status.promise,
        "sites": [_site(site) for site in status.sites],
    }
    return (json.dumps(found, ensure_ascii=False, indent=2) + "\n").encode()


def _site(site: SiteStatus) -> dict[str, object]:
    return {
        "site": site.site,
        "site_name": site.label,
        "last_visit": site.last_visit.isoformat() if site.last_visit else None,
        "days_since": site.days_since,
        "visits": site.came,
        "too_few": site.too_few,
        "waiting": site.waiting,
        "sheets_without_date": site.unsettled,
        "expected": [
            {
                "day": e.day.isoformat(),
                "state": e.state,
                "visits": [day.isoformat() for day in e.visits],
                "days_off": e.off,
                "why": list(e.why),
            }
            for e in site.expected
        ],
    }
