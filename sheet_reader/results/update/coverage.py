"""How often the stated intervals hold: ``python -m sheet_reader.results.update.coverage``.

Simulates seasons with a known effect (see ``season``), harsher than the sample: sites differ
widely, one in ten plot visits has nothing, and counts vary far more than chance. Counts for each
way to make an interval how often it holds the planted effect. The mean of the site ratios and the
pooled ratio differ where effects differ; each way is judged by its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import click
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from sheet_reader.results.update import looks
from sheet_reader.results.update.comparison import t_interval
from sheet_reader.results.update.gee import GeeError, fit_pairs, gee_view
from sheet_reader.results.update.pairs import pair_visits, sum_sites
from sheet_reader.results.update.ranks import signed_rank
from sheet_reader.results.update.season import OUTLINE, SeasonPlan, make_season

HARSH = SeasonPlan(
    per_plant=0.5, site_spread=0.8, effect_spread=0.3, dispersion=0.6, nothing=0.1, missed=0.1
)
"""The seasons of the measurement."""
_DRAWS = 1000

Bounds = tuple[float, float] | None
"""An interval of the log ratio; None where a method gave none."""


def paired(seed: int, plan: SeasonPlan) -> pd.DataFrame:
    """The paired visits of one simulated season."""
    return pair_visits(make_season(seed, plan), OUTLINE, OUTLINE.count.name).visits


def covers(bounds: Bounds, truth: float) -> bool:
    """Whether an interval holds the planted log ratio; a missing one does not."""
    return bounds is not None and bounds[0] <= truth <= bounds[1]


def main_figure(visits: pd.DataFrame, level: float = 0.95) -> Bounds:
    """The t interval of the mean log ratio of the sites."""
    return _bounds(sum_sites(visits)["log_ratio"].to_numpy(dtype=float), level)


def _bounds(logs: NDArray[np.float64], level: float) -> Bounds:
    found = t_interval(logs, level)
    return (float(np.log(found.lower)), float(np.log(found.upper))) if found else None


def hodges_lehmann(visits: pd.DataFrame) -> Bounds:
    """The exact interval of the pseudo-median."""
    found = signed_rank(sum_sites(visits)["log_ratio"])
    return None if found.lower is None or found.upper is None else (found.lower, found.upper)


def percentile_bootstrap(visits: pd.DataFrame) -> Bounds:
    """Quantiles of the mean log ratio over sites drawn with replacement."""
    logs = sum_sites(visits)["log_ratio"].to_numpy(dtype=float)
    drawn = np.random.default_rng(0).choice(logs, (_DRAWS, len(logs))).mean(axis=1)
    low, high = np.quantile(drawn, [0.025, 0.975])
    return float(low), float(high)


def gee_bias_reduced(visits: pd.DataFrame) -> Bounds:
    """The second view of the update: bias-reduced covariance, t by sites."""
    view = gee_view(visits)
    if view.lower is None or view.upper is None:
        return None
    return float(np.log(view.lower)), float(np.log(view.upper))


def gee_robust(visits: pd.DataFrame) -> Bounds:
    """The plain sandwich with normal quantiles."""
    try:
        fit, _ = fit_pairs(visits)
    except GeeError:
        return None
    reach = float(norm.isf(0.025) * np.sqrt(fit.cov_robust[1, 1]))
    return float(fit.params[1]) - reach, float(fit.params[1]) + reach


METHODS: dict[str, tuple[Callable[[pd.DataFrame], Bounds], bool]] = {
    "mean of site log ratios, t": (main_figure, False),
    "Hodges-Lehmann, exact": (hodges_lehmann, False),
    "percentile bootstrap over sites": (percentile_bootstrap, False),
    "GEE, bias-reduced, t": (gee_bias_reduced, True),
    "GEE, robust, z": (gee_robust, True),
}
"""Each way to make an interval, and whether its estimand is the pooled ratio."""


def hits(plan: SeasonPlan, seeds: range, methods: Iterable[str] = tuple(METHODS)) -> dict[str, int]:
    """In how many seasons the interval of each method holds its own planted effect."""
    found = dict.fromkeys(methods, 0)
    for seed in seeds:
        visits = paired(seed, plan)
        for method in found:
            make, pooled = METHODS[method]
            truth = float(np.log(plan.ratio)) + (plan.effect_spread**2 / 2 if pooled else 0.0)
            found[method] += covers(make(visits), truth)
    return found


def hits_at_every_look(
    plan: SeasonPlan, seeds: range, number: int, levels: Sequence[float]
) -> list[int]:
    """In how many seasons the intervals of each of ``levels`` hold at all of ``number`` looks.

    The looks come after equal numbers of visits.
    """
    truth = float(np.log(plan.ratio))
    found = dict.fromkeys(levels, 0)
    for seed in seeds:
        parts = _looks(paired(seed, plan), number)
        logs = [sum_sites(part)["log_ratio"].to_numpy(dtype=float) for part in parts]
        for level in found:
            found[level] += all(covers(_bounds(log, level), truth) for log in logs)
    return list(found.values())


def _looks(visits: pd.DataFrame, number: int) -> list[pd.DataFrame]:
    first = visits["visit_date"].min()
    days = (visits["visit_date"] - first).dt.days
    step = (int(days.max()) + 7) // number
    return [visits[days < step * (look + 1)] for look in range(number)]


@click.command()
@click.option("--seasons", type=click.IntRange(10), default=400, show_default=True)
@click.option("--seed", type=int, default=20_000, show_default=True)
@click.option("--sites", type=click.IntRange(6), multiple=True, default=(10, 30))
@click.option("--main-only", is_flag=True, help="Leave the other methods out.")
def main(seasons: int, seed: int, sites: tuple[int, ...], main_only: bool) -> None:
    """Print how many of the simulated seasons each way to make an interval covers."""
    seeds = range(seed, seed + seasons)
    chosen = list(METHODS)[: 1 if main_only else None]
    for number in sites:
        plan = replace(HARSH, sites=number)
        for method, found in hits(plan, seeds, chosen).items():
            click.echo(f"{number} sites | {method} | {found} of {seasons}")
        five = hits_at_every_look(replace(plan, visits=10), seeds, 5, (looks.look_level(5), 0.95))
        for name, found in zip(("widened", "plain"), five, strict=True):
            click.echo(f"{number} sites | five looks, all {name} hold | {found} of {seasons}")


if __name__ == "__main__":
    main()
