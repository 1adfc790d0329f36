"""How often an update's statements hold: ``python -m sheet_reader.lab.season_coverage``.

Draws seasons that the model of the update did not make, and looks at each five times, as updates
do. Of every kind of season it counts: in how many something was stated though nothing was
different, or in the wrong direction; in how many all ranges that were shown hold the truth; how
many looks showed a range, and how many had too few sites or animals; and how wide the last range
is beside Student's interval of the sites' log ratios with 0.5 added to each count, which updates
showed in former times.

The truth is the median over sites of the ratio of expected densities. Nothing is read or fitted
here: numbers are negative binomial around site x week x treatment at this site, with too many
zeros, values left empty and visits not made.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from typing import Literal
from zlib import crc32

import click
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import beta
from scipy.stats import t as student

from sheet_reader.results.update.pairs import missed_with_counts
from sheet_reader.results.update.statement import Interval, state
from sheet_reader.results.update.typical_site import site_counts

Misses = Literal["by chance", "visits with many", "plots with many"]
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Nature:
    """What is alike in all seasons. Spreads are standard deviations of natural logs (of sites'
    levels, of the effect at sites, of weeks); ``excess`` is variance beyond chance (variance =
    mean + excess mean²), ``nothing`` the share of plot visits with no animal besides; then the
    shares of visits not made, of values left empty, and of those missed for being ``many``.
    """

    looks: int = 5
    weeks: int = 10
    site_spread: float = 0.8
    effect_spread: float = 0.3
    week_spread: float = 0.25
    excess: float = 0.6
    nothing: float = 0.1
    not_made: float = 0.1
    left_empty: float = 0.04
    avoided: float = 0.5
    many: float = 0.67
    chunk: int = 20


OF = Nature()


@dataclass(frozen=True, slots=True)
class SeasonKind:
    """A kind of season. ``mean`` is the average count in a control plot at one visit, ``effort``
    that of the treated plot to the control plot's, ``ratio`` the planted one.
    """

    sites: int
    effort: float
    mean: float
    ratio: float
    misses: Misses = "by chance"


@dataclass(slots=True)
class Coverage:
    """Counts over seasons: see the columns of :func:`line`."""

    seasons: int = 0
    fewer: int = 0
    more: int = 0
    hold: int = 0
    shown: int = 0
    few_sites: int = 0
    few_animals: int = 0
    warned: int = 0
    widths: float = 0.0
    former: float = 0.0
    logs: list[float] = field(default_factory=list)

    def add(self, other: Coverage) -> None:
        """Take in other seasons."""
        for name in self.__slots__:
            setattr(self, name, getattr(self, name) + getattr(other, name))


def draw(rng: np.random.Generator, kind: SeasonKind) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Counts, efforts and what was recorded of one season, each (sites, weeks, treated/control)."""
    shape = (kind.sites, OF.weeks, 2)
    level = rng.lognormal(-(OF.site_spread**2) / 2, OF.site_spread, (kind.sites, 1, 1))
    wave = np.sin(np.linspace(0.2, 3.4, OF.weeks))
    season = np.exp(wave + rng.normal(0, OF.week_spread, OF.weeks))
    week = (season / season.mean())[:, None]
    effect = np.ones((kind.sites, 1, 2))
    effect[:, 0, 0] = kind.ratio * rng.lognormal(0, OF.effect_spread, kind.sites)
    effort = rng.uniform(0.75, 1.25, (kind.sites, OF.weeks, 1)) * rng.uniform(0.9, 1.1, shape)
    effort[..., 0] *= kind.effort
    mean = kind.mean * level * week * effect * effort
    counts = rng.negative_binomial(1 / OF.excess, 1 / (1 + OF.excess * mean)).astype(float)
    counts[rng.random(shape) < OF.nothing] = 0
    seen = (rng.random(shape) >= OF.left_empty) & (rng.random(shape[:2]) >= OF.not_made)[..., None]
    avoided = rng.random(shape) < OF.avoided
    if kind.misses == "visits with many":
        both = counts.sum(axis=2)
        seen &= ~(avoided[..., 0] & (both > np.quantile(both, OF.many)))[..., None]
    elif kind.misses == "plots with many":
        seen &= ~(avoided & (counts > np.quantile(counts, OF.many)))
    return counts, effort, seen


def watch(rng: np.random.Generator, kind: SeasonKind) -> Coverage:
    """One season, looked at five times."""
    counts, effort, seen = draw(rng, kind)
    found = Coverage(seasons=1)
    missed, verdicts = False, set()
    step = OF.weeks // OF.looks
    for weeks in range(step, OF.weeks + 1, step):
        site, week = np.nonzero(seen[:, :weeks].all(axis=2))
        value, effort_there = counts[site, week], effort[site, week]
        ratio = effort_there[:, 0] / effort_there[:, 1]
        said = state(site_counts(site, value[:, 0], value[:, 1], ratio), OF.looks)
        found.few_sites += said.verdict == "too few sites"
        found.few_animals += said.verdict == "too few animals"
        if said.says and said.widened and said.ratio is not None:
            found.shown += 1
            verdicts.add(said.verdict)
            missed |= not said.widened.lower <= kind.ratio <= said.widened.upper
            if weeks == OF.weeks and said.widened.lower > 0 and np.isfinite(said.widened.upper):
                found.logs.append(float(np.log(said.ratio / kind.ratio)))
                found.widths += float(np.log(said.widened.upper / said.widened.lower))
                found.former += former_width(site, value, effort_there, said.widened)
    found.fewer, found.more, found.hold = "fewer" in verdicts, "more" in verdicts, not missed
    if kind.misses != "by chance":
        found.warned = missed_with_counts(_frame(counts, effort, seen)).way != 0
    return found


def former_width(
    site: NDArray[np.intp], value: Array, effort: Array, interval: Interval
) -> float:
    """Width of Student's interval of the mean log ratio over sites, 0.5 added to each count."""
    sums = np.stack([np.bincount(site, value[:, arm]) for arm in (0, 1)])
    efforts = np.stack([np.bincount(site, effort[:, arm]) for arm in (0, 1)])
    there = efforts[0] > 0
    logs = np.log((sums[:, there] + 0.5) / efforts[:, there])
    ratios = logs[0] - logs[1]
    t = student.ppf(0.5 + interval.level / 2, len(ratios) - 1)
    return float(2 * t * ratios.std(ddof=1) / np.sqrt(len(ratios)))


def _frame(counts: Array, effort: Array, seen: NDArray[np.bool_]) -> pd.DataFrame:
    site, week, arm = np.nonzero(seen)
    return pd.DataFrame(
        {
            "site": site,
            "visit_date": pd.Timestamp("2026-05-01") + pd.to_timedelta(7 * week, unit="D"),
            "arm": np.array(["treated", "control"])[arm],
            "value": counts[site, week, arm],
            "effort": effort[site, week, arm],
        }
    )


def chunk(task: tuple[SeasonKind, int, range]) -> Coverage:
    """Some seasons of one kind; seed, kind and season rule their stream of chance."""
    kind, seed, seasons = task
    name = crc32(repr(kind).encode())
    every = Coverage()
    for season in seasons:
        every.add(watch(np.random.default_rng([seed, name, season]), kind))
    return every


def kinds(sites: tuple[int, ...]) -> Iterator[SeasonKind]:
    """The kinds of season measured: first those that miss by chance, then others, fewer times."""
    for number, effort, mean, ratio in product(
        sites, (1.0, 1.5, 2.0), (0.1, 0.3, 1.0, 10.0), (1.0, 0.6)
    ):
        yield SeasonKind(number, effort, mean, ratio)
    ways: tuple[Misses, ...] = ("visits with many", "plots with many")
    for number, misses, mean, ratio in product(sites, ways, (1.0, 10.0), (1.0, 0.6)):
        if number >= 12:
            yield SeasonKind(number, 1.0, mean, ratio, misses)


HEAD = (
    "| sites | effort | count a visit | ratio | missed | said fewer | said more | all ranges hold "
    "| looks with a range | too few sites | too few animals | width | bias | warned |"
)


def line(kind: SeasonKind, tally: Coverage) -> str:
    """One line of the table, shares in per cent; width and bias are of the last look."""
    n, looks = tally.seasons, tally.seasons * OF.looks / 100
    width = f"{tally.widths / tally.former:.2f}" if tally.former else "–"
    bias = f"× {np.exp(np.mean(tally.logs)):.2f}" if tally.logs else "–"
    warned = "–" if kind.misses == "by chance" else f"{100 * tally.warned / n:.0f}"
    cells = (
        kind.sites, f"{kind.effort:g} : 1", f"{kind.mean:g}", f"{kind.ratio:g}", kind.misses,
        f"{100 * tally.fewer / n:.2f}", f"{100 * tally.more / n:.2f}",
        f"{100 * tally.hold / n:.2f}", f"{tally.shown / looks:.0f}",
        f"{tally.few_sites / looks:.0f}", f"{tally.few_animals / looks:.1f}", width, bias, warned,
    )  # fmt: skip
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def summary(found: dict[SeasonKind, Coverage]) -> Iterator[str]:
    """What the aims are held against, over the kinds that miss by chance."""
    fair = {kind: tally for kind, tally in found.items() if kind.misses == "by chance"}
    null = {k: t.fewer + t.more for k, t in fair.items() if k.ratio == 1}
    worst = max(null, key=lambda k: null[k] / fair[k].seasons)
    n = fair[worst].seasons
    upper = float(beta.ppf(0.95, null[worst] + 1, n - null[worst]))
    yield (
        f"false findings, worst kind: {null[worst]} of {n} ({100 * null[worst] / n:.2f} %, at most "
        f"{100 * upper:.1f} % with 95 % confidence): {worst}"
    )
    low = min(fair, key=lambda k: fair[k].hold / fair[k].seasons)
    yield f"all ranges hold, worst kind: {fair[low].hold} of {fair[low].seasons}: {low}"
    wrong = max(t.more for k, t in fair.items() if k.ratio < 1)
    yield f"wrong direction, worst kind: {wrong} of {n}"
    wide = [t.widths / t.former for k, t in fair.items() if k.mean == 10 and t.former]
    yield f"width at 10 a visit beside the former: {min(wide):.3f} to {max(wide):.3f}"


@click.command()
@click.option("--seasons", type=click.IntRange(1), default=400, show_default=True)
@click.option("--seed", type=int, default=1, show_default=True)
@click.option("--sites", type=click.IntRange(2), multiple=True, default=(6, 8, 12, 30))
@click.option("--processes", type=click.IntRange(1), default=1, show_default=True)
@click.option("--out", type=click.Path(path_type=Path), help="Keep the table in this file too.")
def main(
    seasons: int, seed: int, sites: tuple[int, ...], processes: int, out: Path | None
) -> None:
    """Print the table of all kinds of season, a line as soon as it is known."""
    wanted = {k: seasons if k.misses == "by chance" else -(-seasons // 4) for k in kinds(sites)}
    tasks = [
        (kind, seed, range(start, min(start + OF.chunk, number)))
        for kind, number in wanted.items()
        for start in range(0, number, OF.chunk)
    ]
    found: dict[SeasonKind, Coverage] = {}
    lines = [HEAD, "|---" * HEAD.count(" | ") + "|---|"]
    click.echo("\n".join(lines))
    with ProcessPoolExecutor(processes) as pool:
        for task, tally in zip(tasks, pool.map(chunk, tasks), strict=True):
            kind = task[0]
            found.setdefault(kind, Coverage()).add(tally)
            if found[kind].seasons == wanted[kind]:
                lines.append(line(kind, found[kind]))
                click.echo(lines[-1])
    ends = list(summary(found))
    click.echo("\n".join(["", *ends]))
    if out:
        out.write_text("\n".join([*lines, "", *ends]) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
