r"""The promise that shipped data and the study's own audits bear out together.

An audit draws from accepted fields: among those that a threshold T let through it is a fair sample
of what T accepts, and (looked at from t > T on) of what any stricter t accepts. About a looser
t < T it is silent, since what lies between t and T could not be drawn, and that is where errors
are. So a study's own audits may confirm the promise at the threshold that the shipped fields bear
out, or raise it; they never lower it, and a right field counts at t only if it was accepted under a
threshold of at most t (``Checked.floors``; the record keeps it with every reading). The least
confidence among the audited fields would be no substitute: it is chosen by the sample itself and
lies above T, but a stricter T of later photographs, mixed with them, would go unnoticed. A wrong
field counts against every threshold that would accept it. Fields that were flagged and decided in
review don't count, right or wrong: they were asked about because they were doubtful, not drawn, so
they tell nothing about accepted ones.

Audits are looked at again and again, and a site's fields are mostly by one hand: what they show is
weighed by sites, so that any number of looks keeps the level (``weekly_looks``).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc

from sheet_reader.decode.checked import Checked, above_errors
from sheet_reader.decode.promise import (
    DELTA,
    SHIPPED,
    SHIPPED_BASIS,
    NoPromise,
    Promise,
    PromiseTable,
)
from sheet_reader.decode.weekly_looks import evidence_against, evidence_for
from sheet_reader.numbers import DECODE

ODD = DECODE.odd_share
FEW = DECODE.few_sites


def promise_for(allowed_error: float, shipped: PromiseTable, own: Checked) -> Promise | NoPromise:
    """The promise that shipped data and the coordinator's own audited fields bear out together.

    The threshold is never looser than the one that the shipped data give. Her own withdraw the
    promise where they speak against it, and bear it out alone where they are enough; until then
    the shipped ones promise, for all but a few sites that are misread far more often than others.
    """
    delta = shipped.delta
    given = shipped.promise(allowed_error, SHIPPED_BASIS)
    start = given.threshold
    odd = _few_odd_sites(own)
    whole = _without(own, odd)
    wrong, checked = whole.at(start)
    if evidence_against(*by_site(whole, start), allowed_error) >= 1.0 / delta:
        reason = (
            f"{wrong:,} of your {checked:,} own checked readings were wrong, more than "
            f"{allowed_error * 100:g} %; the shipped calibration does not hold for your "
            "photographs"
        )
        missing = own.missing(start, allowed_error, delta)
        return NoPromise(
            reason, missing, above_errors(own, start), allowed_error, delta, wrong, checked
        )
    sites = by_site(own, start)
    if evidence_for(*sites, allowed_error) >= 1.0 / delta:
        where = "" if own.writers is None else f", from {counted_sites(len(sites[0]))}"
        basis = f"your own readings{where}"
        return own.promise(start, allowed_error, delta, basis)
    if isinstance(given, NoPromise):
        return given
    left_out = f"; without {', '.join(odd)}, misread often" if odd else ""
    return replace(given, basis=_both(own, given, wrong, checked) + left_out)


def counted_sites(n: int) -> str:
    """A number of sites in words."""
    return f"{n:,} site" + ("" if n == 1 else "s")


def by_site(own: Checked, threshold: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Wrong and checked fields (S,) of each site that speaks about ``threshold``; each field by
    itself where it is not known from which site it is.
    """
    telling = own.tell(threshold)
    wrong = (~own.correct[telling]).astype(np.int64)
    if own.writers is None:
        return wrong, np.ones(len(wrong), np.int64)
    names, place = np.unique(own.writers[telling], return_inverse=True)
    return (
        np.bincount(place, weights=wrong, minlength=len(names)).astype(np.int64),
        np.bincount(place, minlength=len(names)).astype(np.int64),
    )


def odd_sites(own: Checked, delta: float = DELTA) -> list[tuple[str, int, int]]:
    """Sites that are misread far more often than others may be: name, wrong and checked fields.

    Two errors at least, and by the binomial tail at ``ODD``, a share that no site should have;
    delta is shared out over the sites (Bonferroni).
    """
    if own.writers is None:
        return []
    names = np.unique(own.writers)
    found = []
    for name in names:
        here = own.writers == name
        wrong, checked = int((~own.correct[here]).sum()), int(here.sum())
        if wrong > 1 and bdtrc(wrong - 1, checked, ODD) < delta / len(names):
            found.append((str(name), wrong, checked))
    return found


def _few_odd_sites(own: Checked) -> list[str]:
    """Names of the odd sites where they are few among many: one odd hand is told as one, and takes
    no promise from everybody. None where they are the study.
    """
    names = [name for name, _, _ in odd_sites(own)]
    if own.writers is None or len(names) > FEW * len(np.unique(own.writers)):
        return []
    return names


def _without(own: Checked, sites: list[str]) -> Checked:
    if own.writers is None or not sites:
        return own
    return own.part(~np.isin(own.writers, sites))


def _both(own: Checked, given: Promise, wrong: int, checked: int) -> str:
    """On what a shipped promise rests that her own audits are still too few to bear out."""
    more = max(1, own.missing(given.threshold, given.allowed_error, given.delta))
    return (
        f"{SHIPPED}; {wrong:,} of {checked:,} of your own checked readings were wrong, "
        f"about {more:,} more to promise on those alone"
    )
