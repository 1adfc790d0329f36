r"""Counts and other numbers: plausible ranges and the site's own history as soft knowledge.

Range: a value outside lowest..highest keeps the weight ``ODD_COUNT`` (an assumption: one sheet in
fifty has a surprise), and is asked about, never changed.

History: with earlier counts x_1 … x_n of the same field at the same site, a Poisson count whose
rate has a gamma prior has a negative binomial predictive distribution (Gelman et al., *Bayesian
Data Analysis*, section 2.6). Old counts speak with ``DISCOUNT`` of their weight each (the power
prior of Ibrahim & Chen, Statistical Science 15:46, 2000), which makes it overdispersed: r = 1/2 +
d Σx, mean r / (d n). Half of the weight stays spread evenly over the plausible range, so a sudden
change is always possible. Both are reweightings by Bayes' rule within the values that the boxes
allow.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from sheet_reader.decode.judgement import Judgement, box_doubt, box_flags, number_flags
from sheet_reader.decode.posteriors import NumberPosterior
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Code, Reasons, because
from sheet_reader.study.kinds import Listed, Spelling
from sheet_reader.study.study import FieldSpec

ODD_COUNT = DECODE.odd_count
DISCOUNT = DECODE.history_discount
EVEN_SHARE = DECODE.even_share

History = Mapping[str, Mapping[str, Sequence[int]]]
"""Site number → full field name → that site's earlier values of the field, oldest first."""


def with_range(posterior: NumberPosterior, spelling: Spelling) -> NumberPosterior:
    """The posterior with implausible values made less probable."""
    values = posterior.values
    if isinstance(spelling, Listed):
        plausible = np.isin(values, [int(text) for text in spelling.texts])
    else:
        most = np.iinfo(np.int64).max if spelling.highest is None else spelling.highest
        plausible = (values >= (spelling.lowest or 0)) & (values <= most)
    return posterior.reweighted(np.where(plausible, 1.0, ODD_COUNT))


def with_history(
    posterior: NumberPosterior, spec: FieldSpec, earlier: Sequence[int]
) -> NumberPosterior:
    """The posterior given the site's ``earlier`` values of this field (none: unchanged)."""
    if not earlier:
        return posterior
    lowest = spec.lowest or 0
    highest = spec.highest if spec.highest is not None else 10**spec.boxes - 1
    span = max(1, highest - lowest + 1)
    expected = history_probability(posterior.values, earlier)
    return posterior.reweighted(EVEN_SHARE + (1.0 - EVEN_SHARE) * expected * span)


def history_probability(values: NDArray[np.int64], earlier: Sequence[int]) -> NDArray[np.float64]:
    """Negative binomial predictive probability of ``values`` (V,) after ``earlier`` counts."""
    r, rate = 0.5 + DISCOUNT * float(sum(earlier)), DISCOUNT * len(earlier)
    v = values.astype(np.float64)
    log_p = gammaln(v + r) - gammaln(r) - gammaln(v + 1.0)
    log_p += r * np.log(rate / (rate + 1.0)) - v * np.log(rate + 1.0)
    result: NDArray[np.float64] = np.exp(log_p)
    return result


def judge_count(
    spec: FieldSpec,
    raw: NumberPosterior,
    posterior: NumberPosterior,
    spelling: Spelling | None = None,
    alone: NumberPosterior | None = None,
    *,
    crossing: bool = True,
) -> Judgement:
    """Judge a count: ``raw`` by the boxes, ``posterior`` after all other knowledge, of ``spelling``
    among it; a value that is not plausible is asked about (None: never). ``alone`` is
    the posterior by each box for itself, where ``raw`` has heard the writer's other digits already.
    What the boxes alone overrule is shown as they spell it, and asked about; so is a number
    with a digit crossed out, unless it is plain to see and ``crossing`` is true.
    """
    alone = alone or raw
    flags, doubt = box_flags(raw), box_doubt(raw)[1]
    spelt = spelling.text if spelling else str
    ranked = [(spelt(v), p) for v, p in posterior.ranked()]
    up, p_up = ranked[0] if ranked else (None, 0.0)
    unclear = max(posterior.all_struck, posterior.unreadable)
    if posterior.empty >= max(p_up, unclear):
        return Judgement(spec.name, None, posterior.empty, flags, doubt, not flags, up, p_up)
    if not ranked or unclear > p_up:
        return Judgement(spec.name, None, 0.0, flags or (doubt,), doubt, False, up, p_up)
    against: Reasons = ()
    if alone.overrules(int(ranked[0][0])):
        written = spelt(alone.ranked()[0][0])
        against = (because(Code.OTHERS_DIFFER, boxes=written, others=ranked[0][0]),)
        others = [(text, p) for text, p in ranked if text != written][:1]
        ranked = [(written, posterior.probability(int(written))), *others]
    text, confidence = ranked[0]
    flags += number_flags(posterior, int(text), text, crossing=crossing)
    flags += (_range_flags(spelling, raw, int(text)) if spelling else ()) or against
    up, p_up = ranked[1] if len(ranked) > 1 else (None, 0.0)
    if posterior.empty > p_up:
        up, p_up = None, posterior.empty
    return Judgement(spec.name, text, confidence, flags, doubt, False, up, p_up)


def _range_flags(spelling: Spelling, raw: NumberPosterior, value: int) -> Reasons:
    """Ask where the number read, or the one the boxes rather spell, is not plausible."""
    written = raw.ranked()[0][0]
    if written != value and not raw.overrules(value):
        written = value
    reasons = [spelling.against(number) for number in (value, written)]
    return next(((reason,) for reason in reasons if reason), ())
