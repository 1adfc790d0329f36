"""The comparison in sentences: what it shows, and what it can't say yet."""

from __future__ import annotations

from dataclasses import asdict

from sheet_reader.results.update.comparison import PlotComparison
from sheet_reader.results.update.pairs import LeftOut
from sheet_reader.results.update.pictures import draw_pairs
from sheet_reader.results.update.sections import Illustration, Section, TextTable, UpdateData
from sheet_reader.results.update.statement import LEAST_SITES, Interval

_UNEQUAL = 0.1
"""Efforts that differ by more than this share are called unequal."""


def comparison_section(data: UpdateData) -> Section | None:
    """The main sentence, what stands beside it, and the paired dots."""
    result = data.comparison
    if result is None:
        return None
    words, texts, fine = data.words, [], []
    ratio = result.statement.ratio if result.statement.says else None
    if ratio is None:
        texts.append(words("no_picture"))
    else:
        texts.append(words.count("looks", result.planned_looks))
        if result.pooled is not None:
            fine.append(words("estimand", pooled=words.change(result.pooled)))
    if result.missed.way and result.statement.sites:
        key = "missed_many" if result.missed.way > 0 else "missed_few"
        texts.append(words(key, count=data.outline.count.label))
    if result.effort_ratio is not None and data.outline.effort:
        key = "effort_unequal" if abs(result.effort_ratio - 1) > _UNEQUAL else "effort_equal"
        effort, by = data.outline.effort.label, words.change(result.effort_ratio)
        texts.append(words(key, effort=effort, by=by, treated=data.arms["treated"]))
    return Section(
        key="comparison",
        heading=words("heading_comparison"),
        strong=main_sentence(data, result),
        texts=tuple(texts),
        fine=tuple(fine),
        pictures=(_pairs(data, result, ratio),) if ratio is not None else (),
    )


def main_sentence(data: UpdateData, result: PlotComparison) -> str:
    """One sentence with the figure, its range and the number of sites with a find, or why not."""
    words, said, every = data.words, result.statement, len(result.sites)
    finds, count = data.sites(said.sites), data.outline.count.label
    if said.verdict == "too few sites":
        if every < LEAST_SITES:
            return words.count("main_few", every, sites=data.sites(every), least=LEAST_SITES)
        return words("main_few_finds", sites=data.sites(every), finds=finds, least=LEAST_SITES)
    if not said.says or said.ratio is None or said.widened is None:
        return words("main_few_animals", n=result.animals, count=count, sites=finds, **data.arms)
    told = {"count": count, "per": data.per, "sites": finds, **data.arms}
    if said.ratio in (0.0, float("inf")):
        nearest = said.widened.upper if said.verdict == "fewer" else said.widened.lower
        ends = (data.arms["treated"], data.arms["control"])
        empty, other = ends if said.verdict == "fewer" else ends[::-1]
        by = words.change(nearest)
        return words("main_none", empty=empty, other=other, n=result.animals, by=by, **told)
    low, high = _range(data, said.widened)
    by = words.change(said.ratio)
    key = "main_open" if said.verdict == "open" else "main_clear"
    if said.verdict == "open" and by == words("same"):
        key = "main_alike"
    return words(key, by=by, low=low, high=high, **told)


def _range(data: UpdateData, interval: Interval) -> tuple[str, str]:
    """Both bounds in words, the one nearer to no difference first where both are fewer."""
    bounds = sorted((interval.lower, interval.upper), reverse=interval.upper < 1)
    return data.words.change(bounds[0]), data.words.change(bounds[1])


def _pairs(data: UpdateData, result: PlotComparison, ratio: float) -> Illustration:
    words, sites, arms = data.words, result.sites, data.arms
    each = sites["ratio"].round(12)
    treated, control = result.typical or (None, None)
    alt = words(
        "alt_pairs", n=data.sites(len(sites)), density=data.density,
        down=data.sites(int((each < 1).sum())), up=data.sites(int((each > 1).sum())),
        even=data.sites(int((each == 1).sum())), a=data.number(control), b=data.number(treated),
        **arms,
    )  # fmt: skip
    header = (words("col_site"), words("col_visits"), arms["control"], arms["treated"],
              words("col_ratio"))  # fmt: skip
    rows = tuple(
        (
            str(site["site_name"]), str(site["visits"]),
            *(data.number(site[key]) for key in ("density_control", "density_treated", "ratio")),
        )
        for _, site in sites.sort_values(["site_name", "site"]).iterrows()
    )  # fmt: skip
    drawing = draw_pairs(sites, ratio, result.typical, data, alt)
    table = TextTable(words("table_pairs"), header, rows)
    return Illustration("pairs", drawing, words("picture_pairs", **arms), alt, table)


def open_section(data: UpdateData) -> Section:
    """What we can't say yet."""
    words, result = data.words, data.comparison
    items = []
    if result is not None:
        items += _open_size(data, result)
        left = left_out_text(data, result.left_out)
        if left:
            items.append(words("open_left", left=left))
        if result.both_zero:
            items.append(words.count("open_zero", result.both_zero))
        if result.misreading and result.misreading.rate > 0:
            points = max(0.1, result.misreading.shift)
            shown = words.number(points, 1 if points < 1 else 2)
            one_in = f"{1 / result.misreading.rate:.0f}"
            items.append(words("open_misread", one_in=one_in, points=shown))
    items.append(words("open_nothing"))
    return Section("open", words("heading_open"), items=tuple(items))


def _open_size(data: UpdateData, result: PlotComparison) -> list[str]:
    words, said = data.words, result.statement
    if said.verdict == "too few sites":
        return [words("open_few", least=LEAST_SITES)]
    if said.verdict == "too few animals" or said.widened is None:
        return [words("open_few_animals", count=data.outline.count.label)]
    if said.verdict == "open":
        return [words("open_interval")]
    if said.ratio in (0.0, float("inf")):
        return []
    low, high = _range(data, said.widened)
    return [words("open_size", low=low, high=high)]


def left_out_text(data: UpdateData, left: LeftOut) -> str:
    """The values left out by reason, or nothing."""
    effort = data.outline.effort.label if data.outline.effort else ""
    found = [
        data.words.count(f"left_{reason}", n, effort=effort)
        for reason, n in asdict(left).items()
        if n
    ]
    return data.words.listed(found)
