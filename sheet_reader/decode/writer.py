r"""One sheet, one hand: how the writer's other digits speak about a doubtful one.

The digits room reads each box for itself, for any writer. But a sheet is filled in by one person,
whose 7s look alike: a stroke that might be 1 or 7 is a 1 if the same person's sure 7s have a bar.
This is classification of a field in one style (Sarkar & Nagy, IEEE Trans. PAMI 27:88, 2005;
Veeramachaneni & Nagy, IEEE Trans. PAMI 27:14, 2005), here by a hierarchical normal model of the
reader's own log-probabilities (empirical Bayes; Gelman et al., Bayesian Data Analysis, chapter 5).
For box i let x_i be the log-probabilities of the ten digits, centred. For digit c

    x_i | c, writer  ~  N(m_c + u_c, W)        within one hand
    u_c              ~  N(0, B)                how hands differ

with m, W and B estimated on hands that trained nothing. The t_c examples j of the writer's c give
it by the usual conjugate update

    u_c  ~  N(h_c, S_c),  S_c = (B^-1 + t_c W^-1)^-1,  h_c = S_c W^-1 sum_j (x_j - m_c)

and a digit's probability is multiplied by how much better the box fits this writer's c than
anybody's:

    p_i(c)  ->  p_i(c) · [ t(x_i; m_c + h_c, W + S_c) / t(x_i; m_c, W + B) ] ^ TRUST

renormalised over the digits. Here t is Student's distribution with TAILS degrees of freedom: with
normal tails a box that fits no digit, as under a blot, would be driven to the digits that have no
example. The power below 1 allows for what goes together on one photograph (blur, light) and would
otherwise be counted again with every box. Whether a box holds a digit at all is not touched, and no
zero is made from an empty box.

What is an example: another box of the sheet that the rules leave no choice about (the day of a
visit, a site number), or that the reader is surer of than SURE; the volunteer's own ten digits; and
digits that people or rules settled on the site's earlier sheets (:class:`Examples`). Nothing less:
boxes that were read alike, and are merely likely, would lift each other, right or wrong. Examples
from outside the boxes count only where the hand fits (:func:`fit_of`).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray
from scipy.special import softmax

from sheet_reader.numbers import DECODE

Floats = NDArray[np.float64]
DIGITS = 10
TAILS = DECODE.writer_tails
TINY = DECODE.writer_floor
FILE = "writer.json"


@dataclass(frozen=True, slots=True, eq=False)
class WriterModel:
    """``means`` (10, 10): row c is what a c's centred log-probabilities are on average; ``within``
    and ``between`` (10, 10), positive definite: their covariance in one hand, and that of the
    hands' own averages.
    """

    means: Floats
    within: Floats
    between: Floats


@dataclass(frozen=True, slots=True)
class Examples:
    """Digits of known truth: centred log-probabilities ``x`` (M, 10) of boxes that hold ``digits``
    (M,).
    """

    x: Floats
    digits: NDArray[np.int64]

    @classmethod
    def of(cls, probabilities: Floats, digits: Sequence[int]) -> Examples:
        """Boxes with class probabilities (M, K) that hold ``digits``."""
        return cls(centred(probabilities), np.asarray(digits, np.int64))

    @classmethod
    def none(cls) -> Examples:
        """No examples."""
        return cls(np.zeros((0, DIGITS)), np.zeros(0, np.int64))

    def __len__(self) -> int:
        return len(self.digits)

    def __add__(self, other: Examples) -> Examples:
        return Examples(np.vstack([self.x, other.x]), np.append(self.digits, other.digits))


def centred(probabilities: Floats) -> Floats:
    """Centred log-probabilities (N, 10) of the ten digits from class probabilities (N, K)."""
    logs = np.log(np.maximum(probabilities[:, :DIGITS], TINY))
    return np.asarray(logs - logs.mean(axis=1, keepdims=True), np.float64)


def adapted(
    probabilities: Floats,
    seen: NDArray[np.bool_],
    known: NDArray[np.int64],
    model: WriterModel,
    given: Examples | None = None,
) -> Floats:
    """Class probabilities (N, K) of one sheet's boxes after a look at the whole hand.

    ``seen`` (N,) is False for boxes that show too little: they neither speak nor change.
    ``known`` (N,) is the digit of boxes that are settled otherwise, else -1: they are examples, and
    stay as they are. ``given`` are examples of the same hand from elsewhere. Columns 0-9 are the
    digits; the others, and the digits' sum in each row, stay.
    """
    out = np.array(probabilities, np.float64)
    rows = np.flatnonzero(seen)
    given = given or Examples.none()
    if len(rows) + len(given) < 2 or not len(rows):
        return out
    x, digits, settled = centred(out[rows]), out[rows, :DIGITS], known[rows]
    own = _examples(digits, settled).astype(np.float64)
    total = digits.sum(axis=1, keepdims=True)
    trust = DECODE.writer_trust_given if len(given) else DECODE.writer_trust
    logs = np.log(np.maximum(digits, TINY)) + trust * _gains(x, own, model, given)
    open_ = settled < 0
    out[rows[open_], :DIGITS] = (softmax(logs, axis=1) * total)[open_]
    return out


def sure_examples(
    probabilities: Floats, seen: NDArray[np.bool_], known: NDArray[np.int64]
) -> Examples:
    """The examples among a sheet's own boxes; arguments as in :func:`adapted`."""
    rows = np.flatnonzero(seen)
    which, digits = np.nonzero(_examples(probabilities[rows, :DIGITS], known[rows]))
    return Examples(centred(probabilities[rows[which]]), digits.astype(np.int64))


def _examples(digits: Floats, settled: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which digit each box is an example of (n, 10), if any."""
    by_rule = settled[:, None] == np.arange(DIGITS)
    examples: NDArray[np.bool_] = np.where(
        settled[:, None] < 0, digits >= DECODE.writer_sure, by_rule
    )
    return examples


def fit_of(sheet: Examples, hand: Examples, model: WriterModel) -> float:
    """How much better the digits of ``sheet`` fit the hand of the examples ``hand`` than anybody's:
    the log likelihood ratio of each digit of a kind that both have, on average over those digits;
    0 where there are none.
    """
    shared = np.isin(sheet.digits, hand.digits)
    if not shared.any():
        return 0.0
    x, kinds = sheet.x[shared], sheet.digits[shared]
    pull, counts = _told(hand, model)
    away = (x - model.means[kinds])[:, None]
    return float(_log_ratio(away, pull[kinds, None], counts[kinds], model).mean())


def _gains(x: Floats, own: Floats, model: WriterModel, given: Examples) -> Floats:
    """Log ratio (n, 10): how much better each box fits this writer's digits than anybody's, by the
    other boxes that are examples, ``own`` (n, 10) of 1 or 0, and those ``given``.
    """
    away = x - model.means[:, None]
    pull, counts = _told(given, model)
    pull += np.einsum("nc,cnd->cd", own, away)
    counts += own.sum(axis=0).astype(np.int64)
    gains = _log_ratio(away, pull[:, None], counts, model).T
    at, kinds = np.nonzero(own)  # no box is an example for itself
    itself = away[kinds, at]
    others = (pull[kinds] - itself)[:, None]
    gains[at, kinds] = _log_ratio(itself[:, None], others, counts[kinds] - 1, model)[:, 0]
    return gains


def _told(examples: Examples, model: WriterModel) -> tuple[Floats, NDArray[np.int64]]:
    """By digit the sum (10, 10) of how far its examples lie from the mean, and how many there are
    (10,).
    """
    pull = np.zeros((DIGITS, DIGITS))
    np.add.at(pull, examples.digits, examples.x - model.means[examples.digits])
    return pull, np.bincount(examples.digits, minlength=DIGITS).astype(np.int64)


def _log_ratio(
    away: Floats, pull: Floats, counts: NDArray[np.int64], model: WriterModel
) -> Floats:
    """How much better (k, n) boxes fit one writer's digit than anybody's: ``away`` (k, n, 10) from
    the digit's mean, where ``counts`` (k,) examples together lie ``pull`` (k, 1, 10) from it.
    """
    if not len(counts):
        return np.zeros(away.shape[:2])
    learn, white, volume = map(
        np.stack, zip(*(_known(model, count) for count in counts.tolist()), strict=True)
    )
    _, white_of_all, volume_of_all = _known(model, 0)
    fit = _log_density(away - pull @ learn, white, volume[:, None])
    return fit - _log_density(away, white_of_all, volume_of_all)


def _log_density(away: Floats, white: Floats, volume: Floats | float) -> Floats:
    """Student's log density (…, n), less the constant, of ``away`` (…, n, d)."""
    distance = np.square(away @ white).sum(axis=-1)
    power = TAILS + away.shape[-1]
    return np.asarray(-0.5 * power * np.log1p(distance / TAILS) - volume, np.float64)


@lru_cache(maxsize=512)
def _known(model: WriterModel, count: int) -> tuple[Floats, Floats, float]:
    """What ``count`` examples of a digit make known (with none, a hand is as far off as hands are):
    the hand is their pull times the first (d, d), a box times the second (d, d) has no covariance
    left, and the third is half the logarithm of its determinant.
    """
    inverse, spread = np.linalg.inv(model.within), model.between
    if count:
        spread = np.linalg.inv(np.linalg.inv(model.between) + count * inverse)
    shape = model.within + spread
    white = np.linalg.cholesky(np.linalg.inv(shape))
    return (spread @ inverse).T, white, 0.5 * float(np.linalg.slogdet(shape)[1])


@lru_cache(maxsize=1)
def shipped_model() -> WriterModel:
    """The model in the package, see ``python -m sheet_reader.lab.fit_writer``."""
    text = files("sheet_reader.decode").joinpath("data", FILE).read_text(encoding="utf-8")
    read = json.loads(text)
    return WriterModel(*(np.asarray(read[n], np.float64) for n in WriterModel.__slots__))
