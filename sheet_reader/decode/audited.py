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

Fields of one visit are by one hand, in one light. n fields, m̄ = sum m² / sum m to a visit on
average, count as n / (1 + (m̄ - 1) · ALIKE) independent ones (Kish, *Survey Sampling*, 1965,
section 5.4), or as n over the design effect of their errors (``Checked.design_effect``) where that
is less. ALIKE = 0.02 is a choice of this house; the shipped photographs show up to 0.014, with
other people than a study's. That a site's visits go together, and that audits are looked at again
and again, is not allowed for here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sheet_reader.decode.binomial import at_most, checks_needed, lower_bound
from sheet_reader.decode.parameters import DECODE
from sheet_reader.decode.promise import (
    DELTA,
    Checked,
    NoPromise,
    Promise,
    above_errors,
    promise_from,
    refusal,
)

ALIKE = DECODE.alike
WEAKER = DECODE.weaker


def promise_for(
    allowed_error: float, shipped: Checked, own: Checked | None = None, delta: float = DELTA
) -> Promise | NoPromise:
    """The promise that shipped data and the coordinator's own audited fields bear out together.

    The threshold is never looser than the one that the shipped data give. Her own alone decide
    there whether the promise stands once there are enough of them. Before that the shipped ones
    promise, unless her own show more errors than promised: then nothing is promised.
    """
    given = _next_best(
        promise_from(
            shipped, allowed_error, delta, "simulated photographs, not yet checked on your own"
        ),
        shipped,
    )
    if own is None or not len(own.scores):
        return given
    start = given.threshold
    if _independent(own, start)[1] >= checks_needed(allowed_error, delta):
        return _by_own(own, allowed_error, delta, start)
    wrong, checked = _with_unknown(own, start).at(start)
    if checked and lower_bound(wrong, checked, delta) > allowed_error:
        reason = (
            f"{wrong:,} of your {checked:,} own checked readings were wrong, more than "
            f"{allowed_error * 100:g} %; the shipped calibration does not hold for your "
            "photographs"
        )
        threshold = above_errors(own, start)
        missing = checks_needed(allowed_error, delta, wrong) - checked
        return NoPromise(reason, missing, threshold, allowed_error, delta, wrong, checked)
    if isinstance(given, NoPromise):
        return given
    return replace(given, basis=_both(own, given, wrong, checked))


def _by_own(own: Checked, allowed_error: float, delta: float, start: float) -> Promise | NoPromise:
    """What her own audits alone show at ``start``, the threshold in force."""
    wrong, checked = own.at(start)
    together = _together(own, start)
    if at_most(wrong / together, checked / together, allowed_error) > delta:
        return refusal(own, start, allowed_error, delta)
    basis = "your own readings"
    visits = _visits(own, start)
    if visits is not None:
        basis += f", from {visits:,} visit{'' if visits == 1 else 's'}"
    kept = checked / len(own.scores)
    return Promise(start, allowed_error, delta, wrong, checked, kept, basis, together)


def _both(own: Checked, given: Promise, wrong: int, checked: int) -> str:
    """On what a shipped promise rests that her own audits are still too few to bear out."""
    errors, telling = own.at(given.threshold)
    together = _together(own, given.threshold)
    needed = checks_needed(given.allowed_error, given.delta, errors)
    more = max(1, int(np.ceil(needed * together)) - telling)
    return (
        f"simulated photographs; {wrong:,} of {checked:,} of your own checked readings were wrong, "
        f"{more:,} more to promise on those alone"
    )


def _with_unknown(own: Checked, threshold: float) -> Checked:
    """The fields, those accepted under a threshold nobody noted taken as under ``threshold``:
    good enough to see whether they contradict a promise, not to give one.
    """
    if own.floors is None:
        return own
    return replace(own, floors=np.where(np.isnan(own.floors), threshold, own.floors))


def _visits(own: Checked, threshold: float) -> int | None:
    return None if own.sheets is None else len(np.unique(own.sheets[own.tell(threshold)]))


def _together(own: Checked, threshold: float) -> float:
    """Design effect of the fields that speak about ``threshold``, 1 or more."""
    telling = own.tell(threshold)
    if own.sheets is None or not telling.any():
        return own.design_effect(threshold)
    sizes = np.unique(own.sheets[telling], return_counts=True)[1].astype(np.float64)
    alike = 1.0 + (float((sizes**2).sum() / sizes.sum()) - 1.0) * ALIKE
    return max(alike, own.design_effect(threshold))


def _independent(own: Checked, threshold: float) -> tuple[float, float]:
    """Wrong and checked fields at ``threshold`` as if each stood alone."""
    wrong, checked = own.at(threshold)
    together = _together(own, threshold)
    return wrong / together, checked / together


def _next_best(given: Promise | NoPromise, data: Checked) -> Promise | NoPromise:
    """Where nothing is promised, work with the threshold of the best weaker promise and say so.

    Weaker shares are tested from the weakest on, each at level delta, stopping at the first that
    fails: a fixed sequence again, so the last one that holds is a promise of its own.
    """
    if isinstance(given, Promise):
        return given
    best: Promise | None = None
    for factor in WEAKER:
        weaker = promise_from(data, given.allowed_error * factor, given.delta)
        if isinstance(weaker, NoPromise):
            break
        best = weaker
    if best is None:
        return given
    return replace(given, threshold=best.threshold, meanwhile=best.allowed_error)
