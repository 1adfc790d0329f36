"""Pretend seasons of audits: what is promised when.

``python -m sheet_reader.lab.audit_season OUT.png``: twenty weekly audits of 40 sites, three times:
all hands as good as the promise needs; one odd hand from June on; errors that slowly become more.
The fields audited are made up, the promise is the tool's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np
from numpy.typing import NDArray

from sheet_reader.decode.audits import Checked, by_site, odd_sites, promise_for
from sheet_reader.decode.error_share import drift, evidence_against, evidence_for
from sheet_reader.decode.promise import NoPromise, default_threshold, shipped_table

SEASONS = ("clean", "one odd hand from June on", "slow drift")


@dataclass(frozen=True, slots=True)
class PretendPlan:
    """A season: how many ``sites``, weekly audits (``weeks``) of ``each`` fields, the week in which
    ``june`` begins, the ``allowed`` share wrong, and the confidence of all fields (``sure``).
    """

    sites: int = 40
    weeks: int = 20
    each: int = 50
    june: int = 6
    allowed: float = 0.001
    sure: float = 0.99999999


PLAN = PretendPlan()


@dataclass(frozen=True, slots=True)
class AuditLook:
    """What stands after one week's audit."""

    against: float
    for_: float
    drift: float
    says: str


def season(name: str, seed: int = 1) -> list[AuditLook]:
    """The looks of one season, week by week."""
    rng = np.random.default_rng(seed)
    floor = default_threshold(PLAN.allowed)
    sites, right, weeks = (np.empty(0, int), np.empty(0, bool), np.empty(0, int))
    looks = []
    for week in range(PLAN.weeks):
        drawn = rng.integers(0, PLAN.sites, PLAN.each)
        sites = np.r_[sites, drawn]
        right = np.r_[right, rng.random(PLAN.each) >= _share(name, week)[drawn]]
        weeks = np.r_[weeks, np.full(PLAN.each, week)]
        own = Checked.of(
            np.full(len(right), PLAN.sure), right,
            floors=np.full(len(right), floor), writers=sites.astype(str),
        )  # fmt: skip
        counts = by_site(own, floor)
        said = promise_for(PLAN.allowed, shipped_table(), own)
        months = [_month(sites, right, weeks // 4 == m) for m in range(week // 4 + 1)]
        looks.append(
            AuditLook(
                evidence_against(*counts, PLAN.allowed),
                evidence_for(*counts, PLAN.allowed),
                float(drift(months, PLAN.allowed)[-1]),
                _words(said, own),
            )
        )
    return looks


def _share(name: str, week: int) -> NDArray[np.float64]:
    """The share wrong at each site in a week."""
    share = np.full(PLAN.sites, 0.0002)
    if name == SEASONS[1] and week >= PLAN.june:
        share[7] = 0.3
    if name == SEASONS[2]:
        share[:] = 0.0002 * 1.35**week
    return share


def _month(
    sites: NDArray[np.int64], right: NDArray[np.bool_], here: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    return (
        np.bincount(sites[here & ~right], minlength=PLAN.sites),
        np.bincount(sites[here], minlength=PLAN.sites),
    )


def _words(said: object, own: Checked) -> str:
    if isinstance(said, NoPromise):
        return "withdrawn"
    return "odd site named" if odd_sites(own) else "promised"


@click.command()
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
def main(out: Path) -> None:
    """Draw the three seasons to the picture OUT and print them."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 6.0), layout="constrained")
    axes = figure.subplots(len(SEASONS), 1, sharex=True)
    for axis, name in zip(axes, SEASONS, strict=True):
        looks = season(name)
        click.echo(f"{name}: " + ", ".join(f"{n} {look.says}" for n, look in _changes(looks)))
        weeks = np.arange(1, PLAN.weeks + 1)
        lines = (
            ("against the promise", [look.against for look in looks], "-"),
            ("drift, by months", [look.drift for look in looks], "--"),
            ("for the promise", [look.for_ for look in looks], ":"),
        )
        for label, values, style in lines:
            shown = np.clip(values, 0.05, 1e4)
            axis.semilogy(weeks, shown, style, color="black", label=label)
        axis.axhline(20.0, color="grey", linewidth=0.8)
        for week, look in _changes(looks):
            axis.annotate(f" {look.says}", (week, 3e3), ha="left", fontsize=9)
            axis.axvline(week, color="grey", linewidth=0.5, linestyle=":")
        axis.set_title(name, loc="left")
        axis.set_ylim(0.04, 2e4)
        axis.set_ylabel("evidence")
    axes[-1].set_xlabel("weekly audits of 50 fields at 40 sites; 20 decides")
    axes[-1].set_xlim(1, PLAN.weeks + 2)
    axes[0].legend(loc="center right", fontsize=8)
    figure.savefig(out, dpi=100)


def _changes(looks: list[AuditLook]) -> list[tuple[int, AuditLook]]:
    """The weeks (from 1) in which what is said changes."""
    return [
        (n + 1, look) for n, look in enumerate(looks) if n == 0 or look.says != looks[n - 1].says
    ]


if __name__ == "__main__":
    main()
