r"""The handwritten site number and visit date, which place a sheet: known beforehand in part.

**The site number** is on the site list, or asked about. Every number of the list ends in its Damm
check digit, so two of them differ in more than one digit and in more than a swap of neighbours: one
misread box never turns a site into another. The prior says so:

    P(number) = (1 - e) / N   for each of the N listed numbers,
                e / 10^n      for any other way to fill n boxes,

with e = ``OFF_LIST``, the share of sheets whose volunteer writes a number that is not on the
site list (an assumption; Bayes' rule then gives the posterior). Where the boxes themselves say
clearly that another number was written, the site list does not overrule them: that is asked.

**The visit date** has six boxes: a day of the calendar, within the season, not after today. Day,
month and year are three two-digit numbers. With L(d, m, y) the product of their probabilities by
the boxes alone, and D days of the season (its days of tolerance included) up to the day after
today,

    P(d, m, y) ∝ L(d, m, y) · (1 - e) / D     for those days,
                 L(d, m, y) · e / 10^6        for anything else,

e = ``ODD_DATE`` being the share of sheets with an impossible or untimely date (an assumption).
A date that cannot be, though the boxes rather spell it, is asked about, not moved: volunteers do
write 31 June. So the calendar settles doubts between dates and overrules none. Where day and month
could also be meant the other way round, that is a reason to ask of its own (:func:`also_turned`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.judgement import Judgement, box_doubt, box_flags, number_flags
from sheet_reader.decode.posteriors import NumberPosterior
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Code, Reasons, because
from sheet_reader.study.days import Season, latest, turned
from sheet_reader.study.site_numbers import is_valid, keying_mistakes

OFF_LIST = DECODE.off_sites
ODD_DATE = DECODE.odd_date
PARTS = ("day", "month", "year")
Triple = tuple[int, int, int]


def judge_site(
    field: str, raw: NumberPosterior, sites: Sequence[str], use_list: bool = True
) -> Judgement:
    """Judge a handwritten site number; ``sites`` holds the numbers as printed, leading zeros
    included.
    """
    flags = box_flags(raw)
    if raw.empty >= 0.5 and not flags:
        return Judgement(field, None, raw.empty, (because(Code.SITE_EMPTY),))
    if not len(raw.values):
        return Judgement(field, None, 0.0, flags or (because(Code.NO_NUMBER),))
    known = {int(number): number for number in sites}
    posterior = raw
    if use_list and known:
        listed = (1.0 - OFF_LIST) / len(known) * 10.0 ** len(raw.boxes)
        posterior = raw.reweighted(np.where(np.isin(raw.values, [*known]), listed, OFF_LIST))
    (value, confidence), *rest = posterior.ranked()
    written = raw.ranked()[0][0]
    accept = not use_list or written in known or (value in known and not raw.overrules(value))
    shown = value if accept else written
    up, p_up = rest[0] if rest else (None, 0.0)
    flags += number_flags(raw, shown, known.get(shown, str(shown)))
    judged = Judgement(
        field, known.get(value, str(value)), confidence, flags, box_doubt(raw)[1],
        runner_up=None if up is None else known.get(up, str(up)), runner_up_confidence=p_up,
    )  # fmt: skip
    return judged if accept else _off_list(judged, posterior, str(written), sites)


def _off_list(
    judged: Judgement, posterior: NumberPosterior, written: str, sites: Sequence[str]
) -> Judgement:
    """Flag a number that is not on the list; offer the one listed number a keying error away."""
    typed = written.zfill(max(map(len, sites)))
    near = [number for number in sites if keying_mistakes(typed, number) == 1]
    reason = because(Code.OFF_LIST, site=written, near=near, check_digit=is_valid(written))
    flagged = replace(judged, value=written, flags=(*judged.flags, reason))
    if len(near) == 1:
        flagged = replace(
            flagged, value=near[0], runner_up=written,
            runner_up_confidence=posterior.probability(int(written)),
        )  # fmt: skip
    return replace(flagged, confidence=posterior.probability(int(flagged.value or "")))


def judge_date(
    field: str,
    parts: Mapping[str, NumberPosterior],
    season: Season,
    today: date,
    use_calendar: bool = True,
    tolerance_days: int = 0,
) -> Judgement:
    """Judge the date from the posteriors of its parts ``day``, ``month`` and ``year``. A visit can
    lie ``tolerance_days`` before and after the ``season``, not after the day that follows
    ``today``, on which it came in.
    """
    hidden = [why for name in PARTS for why in parts[name].hidden]
    flags = tuple(flag for name in PARTS for flag in box_flags(parts[name], name))
    if hidden and all(hidden):
        flags = (because(Code.HIDDEN, why=hidden[0]),)
    blank = [name for name in PARTS if parts[name].empty >= 0.5]
    if len(blank) == len(PARTS):
        sure = float(np.prod([parts[name].empty for name in PARTS]))
        return Judgement(field, None, sure, (*flags, because(Code.DATE_EMPTY)))
    if blank:
        return Judgement(field, None, 0.0, (*flags, because(Code.DATE_PART_EMPTY, parts=blank)))
    if any(not len(parts[name].values) for name in PARTS):
        return Judgement(field, None, 0.0, flags or (because(Code.NO_DATE),))
    likely = _Likelihood.of(parts)
    doubt = min((box_doubt(parts[name], name) for name in PARTS), key=itemgetter(0))[1]
    tolerance = timedelta(days=tolerance_days)
    first, last = season.first - tolerance, min(season.last + tolerance, latest(today))
    days = [first + timedelta(days=i) for i in range((last - first).days + 1)]
    judged = _judge(field, likely, season, today, days if use_calendar else None)
    struck = any(
        parts[name].struck[np.searchsorted(parts[name].values, value)] >= 0.5
        for name, value in zip(PARTS, likely.written, strict=True)
    )
    own = (because(Code.BOX_STRUCK, value=judged.value),) if struck else ()
    return replace(judged, flags=(*flags, *judged.flags, *own), doubt=doubt)


@dataclass(frozen=True, slots=True)
class _Likelihood:
    """``tables`` three arrays (100,) of the parts' probabilities, ``number`` the probability that
    all three are numbers, ``written`` the best triple by the boxes alone.
    """

    tables: tuple[NDArray[np.float64], ...]
    number: float
    written: Triple

    @classmethod
    def of(cls, parts: Mapping[str, NumberPosterior]) -> _Likelihood:
        tables = []
        for name in PARTS:
            table = np.zeros(100)
            table[parts[name].values] = parts[name].probs
            tables.append(table)
        day, month, year = (int(t.argmax()) for t in tables)
        return cls(tuple(tables), float(np.prod([t.sum() for t in tables])), (day, month, year))

    def __call__(self, triple: Triple) -> float:
        return float(np.prod([t[v] for t, v in zip(self.tables, triple, strict=True)]))


def _judge(
    field: str, likely: _Likelihood, season: Season, today: date, days: list[date] | None
) -> Judgement:
    """``days`` are those on which a visit can lie, None where the calendar is not to be used."""
    written = likely.written
    day_written = _as_date(written, season)
    reasons = _why_not(written, day_written, season, today)
    if days is None:
        flags = reasons if day_written is None else ()
        return Judgement(field, _iso(day_written), likely(written), flags)
    if not days:
        flags = reasons or (because(Code.SEASON_NOT_BEGUN),)
        return Judgement(field, _iso(day_written), 0.0, flags)
    probs = _posterior(likely, days)
    best = np.argsort(-probs, kind="stable")[:2]
    top = days[best[0]]
    if day_written is None or not days[0] <= day_written <= days[-1]:
        other = _as_date((written[1], written[0], written[2]), season)
        if other is not None and days[0] <= other <= days[-1]:
            reasons += (because(Code.DAY_OR_MONTH, other=_iso(other)),)
        if likely(_triple(top)) < DECODE.date_offer * likely(written):
            meant = day_written or (other if len(reasons) > 1 else None)
            return Judgement(field, _iso(meant), 0.0, reasons)
        second, p_second = day_written, max(0.0, likely.number - float(probs.sum()))
    elif len(days) > 1 and probs[best[1]] > 0.0:
        reasons, second, p_second = (), days[best[1]], float(probs[best[1]])
    else:
        reasons, second, p_second = (), None, 0.0
    return Judgement(
        field, _iso(top), float(probs[best[0]]), reasons,
        runner_up=_iso(second), runner_up_confidence=p_second,
    )  # fmt: skip


def _posterior(likely: _Likelihood, days: Sequence[date]) -> NDArray[np.float64]:
    """Posterior of each allowed day (D,); the rest up to ``likely.number`` is any other date."""
    triples = np.array([_triple(d) for d in days])
    table_day, table_month, table_year = likely.tables
    fit = table_day[triples[:, 0]] * table_month[triples[:, 1]] * table_year[triples[:, 2]]
    listed = fit * (1.0 - ODD_DATE) / len(days) * 1e6
    other = max(0.0, likely.number - float(fit.sum())) * ODD_DATE
    total = float(listed.sum()) + other
    result: NDArray[np.float64] = listed / total * likely.number if total > 0.0 else listed
    return result


def also_turned(judged: Judgement, season: Season, today: date) -> Judgement:
    """The date with a reason to ask where it would lie in the ``season`` (its days of tolerance
    included) with day and month the other way round as well, up to the day after ``today``.
    """
    other = turned(date.fromisoformat(judged.value)) if judged.value else None
    last = min(season.last, latest(today))
    if judged.flags or other is None or not season.first <= other <= last:
        return judged
    again = judged.flagged(because(Code.DAY_OR_MONTH, other=_iso(other)))
    return replace(again, runner_up=_iso(other))


def _triple(day: date) -> Triple:
    return day.day, day.month, day.year % 100


def _as_date(triple: Triple, season: Season) -> date | None:
    """The real day of a triple, in the century that lies nearest to the season."""
    day, month, year = triple
    near = season.first.year
    full = min((near // 100 * 100 + c + year for c in (-100, 0, 100)), key=lambda y: abs(y - near))
    try:
        return date(full, month, day)
    except ValueError:
        return None


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _why_not(triple: Triple, day: date | None, season: Season, today: date) -> Reasons:
    if day is None:
        number, month, year = triple
        return (because(Code.NO_SUCH_DAY, day=number, month=month, year=year),)
    if day > latest(today):
        return (because(Code.IN_FUTURE, date=_iso(day)),)
    if not season.first <= day <= season.last:
        first, last = _iso(season.first), _iso(season.last)
        return (because(Code.OUTSIDE_SEASON, date=_iso(day), first=first, last=last),)
    return ()
