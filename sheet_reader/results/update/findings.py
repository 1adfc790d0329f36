"""The comparison in sentences: what it shows, and what it can't say yet."""

from __future__ import annotations

import numpy as np

from sheet_reader.results.update.blocks import Picture, Section, Table
from sheet_reader.results.update.comparison import LEAST_SITES, Comparison, Interval
from sheet_reader.results.update.desk import Desk
from sheet_reader.results.update.gee import NOT_INSTALLED
from sheet_reader.results.update.pairs import LeftOut
from sheet_reader.results.update.pictures import draw_pairs

_UNEQUAL = 0.1
"""Efforts that differ by more than this share are called unequal."""


def comparison_section(desk: Desk) -> Section | None:
    """The main sentence, what stands beside it, and the paired dots."""
    result = desk.comparison
    if result is None:
        return None
    texts, fine = [], []
    if result.effort_ratio is not None and desk.outline.effort:
        key = "effort_unequal" if abs(result.effort_ratio - 1) > _UNEQUAL else "effort_equal"
        texts.append(
            desk.words(
                key,
                effort=desk.outline.effort.label,
                by=desk.words.change(result.effort_ratio),
                treated=desk.arms["treated"],
            )
        )
    if result.verdict != "too few sites":
        texts.insert(0, _looks(desk, result))
        fine = _beside(desk, result)
    return Section(
        key="comparison",
        heading=desk.words("heading_comparison"),
        strong=main_sentence(desk, result),
        texts=tuple(texts),
        fine=tuple(fine),
        pictures=(_pairs(desk, result),) if len(result.sites) else (),
    )


def main_sentence(desk: Desk, result: Comparison) -> str:
    """One sentence with the figure, its widened range and the number of sites."""
    words, sites = desk.words, desk.sites(len(result.sites))
    with_finds = len(result.sites) - result.both_zero
    if len(result.sites) >= LEAST_SITES > with_finds:
        return words.count(
            "main_few_finds", with_finds, sites=sites, finds=desk.sites(with_finds),
            least=LEAST_SITES,
        )  # fmt: skip
    if result.verdict == "too few sites" or result.ratio is None or result.widened is None:
        return words.count("main_few", len(result.sites), sites=sites, least=LEAST_SITES)
    low, high = _range(desk, result.widened)
    key = "main_open" if result.verdict == "open" else "main_clear"
    if result.verdict == "open" and words.change(result.ratio) == words("same"):
        key = "main_alike"
    return words(
        key,
        by=words.change(result.ratio),
        low=low,
        high=high,
        count=desk.outline.count.label,
        per=desk.per,
        sites=sites,
        **desk.arms,
    )


def _range(desk: Desk, interval: Interval) -> tuple[str, str]:
    """Both bounds in words, the one nearer to no difference first where both are fewer."""
    bounds = sorted((interval.lower, interval.upper), reverse=interval.upper < 1)
    return desk.words.change(bounds[0]), desk.words.change(bounds[1])


def _looks(desk: Desk, result: Comparison) -> str:
    assert result.plain is not None
    low, high = _range(desk, result.plain)
    return desk.words("looks", looks=result.planned_looks, low=low, high=high)


def _beside(desk: Desk, result: Comparison) -> list[str]:
    """Remarks on the estimand, the ranks and the second view."""
    words, ranks, gee = desk.words, result.by_ranks, result.gee
    lines = []
    if result.pooled is not None:
        lines.append(words("estimand", pooled=words.change(result.pooled)))
    if ranks is not None and ranks.lower is not None and ranks.upper is not None:
        by, p = words.change(float(np.exp(ranks.estimate))), words.p_value(ranks.p)
        bounds = Interval(float(np.exp(ranks.lower)), float(np.exp(ranks.upper)), ranks.level)
        low, high = _range(desk, bounds)
        lines.append(words("ranks", v=f"{ranks.v:g}", p=p, by=by, low=low, high=high))
    if gee.failure == NOT_INSTALLED:
        return lines
    if gee.ratio is None or gee.lower is None or gee.upper is None:
        lines.append(words("gee_failed", why=gee.failure))
    else:
        family = words("gee_negative_binomial" if gee.dispersion else "gee_poisson")
        by = words.change(gee.ratio)
        low, high = _range(desk, Interval(gee.lower, gee.upper, gee.level))
        lines.append(words("gee", family=family, by=by, low=low, high=high))
    return lines


def _pairs(desk: Desk, result: Comparison) -> Picture:
    words, sites = desk.words, result.sites
    logs = sites["log_ratio"].round(12)
    a, b = (
        desk.number(float(np.exp(np.log(sites[f"density_{arm}"]).mean())))
        for arm in ("control", "treated")
    )
    alt = words(
        "alt_pairs",
        n=len(sites),
        density=desk.density,
        down=desk.sites(int((logs < 0).sum())),
        up=desk.sites(int((logs > 0).sum())),
        even=desk.sites(int((logs == 0).sum())),
        a=a,
        b=b,
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
    caption = words("picture_pairs", **desk.arms)
    return Picture("pairs", draw_pairs(sites, desk.legend, alt), caption, alt, table)


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
            items.append(words("open_zero", sites=desk.sites(result.both_zero)))
        if result.misreading and result.misreading.rate > 0 and result.verdict != "too few sites":
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
    words = desk.words
    if result.verdict == "too few sites" or result.widened is None:
        return [words("open_few", least=LEAST_SITES)]
    if result.verdict == "open":
        return [words("open_interval")]
    low, high = _range(desk, result.widened)
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
