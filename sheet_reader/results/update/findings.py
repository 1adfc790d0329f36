"""The comparison in sentences: what it shows, and what it can't say yet."""

from __future__ import annotations

from sheet_reader.results.update.blocks import Picture, Section, Table
from sheet_reader.results.update.comparison import Comparison
from sheet_reader.results.update.desk import Desk
from sheet_reader.results.update.pairs import LeftOut
from sheet_reader.results.update.pictures import draw_pairs
from sheet_reader.results.update.statement import LEAST_SITES, Interval

_UNEQUAL = 0.1
"""Efforts that differ by more than this share are called unequal."""


def comparison_section(desk: Desk) -> Section | None:
    """The main sentence, what stands beside it, and the paired dots."""
    result = desk.comparison
    if result is None:
        return None
    words, texts, fine = desk.words, [], []
    ratio = result.statement.ratio if result.statement.says else None
    if ratio is None:
        texts.append(words("no_picture"))
    else:
        texts.append(words.count("looks", result.planned_looks))
        if result.pooled is not None:
            fine.append(words("estimand", pooled=words.change(result.pooled)))
    if result.missed.way and result.statement.sites:
        key = "missed_many" if result.missed.way > 0 else "missed_few"
        texts.append(words(key, count=desk.outline.count.label))
    if result.effort_ratio is not None and desk.outline.effort:
        key = "effort_unequal" if abs(result.effort_ratio - 1) > _UNEQUAL else "effort_equal"
        texts.append(
            words(
                key,
                effort=desk.outline.effort.label,
                by=words.change(result.effort_ratio),
                treated=desk.arms["treated"],
            )
        )
    return Section(
        key="comparison",
        heading=words("heading_comparison"),
        strong=main_sentence(desk, result),
        texts=tuple(texts),
        fine=tuple(fine),
        pictures=(_pairs(desk, result, ratio),) if ratio is not None else (),
    )


def main_sentence(desk: Desk, result: Comparison) -> str:
    """One sentence with the figure, its range and the number of sites with a find, or why not."""
    words, said, every = desk.words, result.statement, len(result.sites)
    finds, count = desk.sites(said.sites), desk.outline.count.label
    if said.verdict == "too few sites":
        if every < LEAST_SITES:
            return words.count("main_few", every, sites=desk.sites(every), least=LEAST_SITES)
        return words("main_few_finds", sites=desk.sites(every), finds=finds, least=LEAST_SITES)
    if not said.says or said.ratio is None or said.widened is None:
        return words("main_few_animals", n=result.animals, count=count, sites=finds, **desk.arms)
    told = {"count": count, "per": desk.per, "sites": finds, **desk.arms}
    if said.ratio in (0.0, float("inf")):
        nearest = said.widened.upper if said.verdict == "fewer" else said.widened.lower
        ends = (desk.arms["treated"], desk.arms["control"])
        empty, other = ends if said.verdict == "fewer" else ends[::-1]
        by = words.change(nearest)
        return words("main_none", empty=empty, other=other, n=result.animals, by=by, **told)
    low, high = _range(desk, said.widened)
    by = words.change(said.ratio)
    key = "main_open" if said.verdict == "open" else "main_clear"
    if said.verdict == "open" and by == words("same"):
        key = "main_alike"
    return words(key, by=by, low=low, high=high, **told)


def _range(desk: Desk, interval: Interval) -> tuple[str, str]:
    """Both bounds in words, the one nearer to no difference first where both are fewer."""
    bounds = sorted((interval.lower, interval.upper), reverse=interval.upper < 1)
    return desk.words.change(bounds[0]), desk.words.change(bounds[1])


def _pairs(desk: Desk, result: Comparison, ratio: float) -> Picture:
    words, sites = desk.words, result.sites
    each = sites["ratio"].round(12)
    treated, control = result.typical or (None, None)
    alt = words(
        "alt_pairs",
        n=desk.sites(len(sites)),
        density=desk.density,
        down=desk.sites(int((each < 1).sum())),
        up=desk.sites(int((each > 1).sum())),
        even=desk.sites(int((each == 1).sum())),
        a=desk.number(control),
        b=desk.number(treated),
        **desk.arms,
    )
    table = Table(
        words("table_pairs"),
        (
            words("col_site"),
            words("col_visits"),
            desk.arms["control"],
            desk.arms["treated"],
            words("col_ratio"),
        ),
        tuple(
            (
                str(site["site_name"]),
                str(site["visits"]),
                desk.number(site["density_control"]),
                desk.number(site["density_treated"]),
                desk.number(site["ratio"]),
            )
            for _, site in sites.sort_values(["site_name", "site"]).iterrows()
        ),
    )
    drawing = draw_pairs(sites, ratio, result.typical, desk.legend, alt)
    return Picture("pairs", drawing, words("picture_pairs", **desk.arms), alt, table)


def open_section(desk: Desk) -> Section:
    """What we can't say yet."""
    words, result = desk.words, desk.comparison
    items = []
    if result is not None:
        items += _open_size(desk, result)
        left = left_out_text(desk, result.left_out)
        if left:
            items.append(words("open_left", left=left))
        if result.both_zero:
            items.append(words.count("open_zero", result.both_zero))
        if result.misreading and result.misreading.rate > 0:
            points = max(0.1, result.misreading.shift)
            items.append(
                words(
                    "open_misread",
                    one_in=f"{1 / result.misreading.rate:.0f}",
                    points=words.number(points, 1 if points < 1 else 2),
                )
            )
    items.append(words("open_nothing"))
    return Section("open", words("heading_open"), items=tuple(items))


def _open_size(desk: Desk, result: Comparison) -> list[str]:
    words, said = desk.words, result.statement
    if said.verdict == "too few sites":
        return [words("open_few", least=LEAST_SITES)]
    if said.verdict == "too few animals" or said.widened is None:
        return [words("open_few_animals", count=desk.outline.count.label)]
    if said.verdict == "open":
        return [words("open_interval")]
    if said.ratio in (0.0, float("inf")):
        return []
    low, high = _range(desk, said.widened)
    return [words("open_size", low=low, high=high)]


def left_out_text(desk: Desk, left: LeftOut) -> str:
    """The values left out by reason, or nothing."""
    words = desk.words
    effort = desk.outline.effort.label if desk.outline.effort else ""
    reasons = {
        "left_waiting": left.waiting,
        "left_unreadable": left.unreadable,
        "left_not_recorded": left.not_recorded,
        "left_no_effort": left.no_effort,
        "left_alone": left.alone,
    }
    return words.listed([words.count(key, n, effort=effort) for key, n in reasons.items() if n])
