"""What is promised about accepted fields: at most ``allowed_error`` of them are wrong.

The shipped promise is a table (``data/promise.json``), worked out from checked fields by
``python -m sheet_reader.lab.promise_table``, where the statistics are told; so no command reads
those fields again. How a study's own audits go together with it: ``audits``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from importlib.resources import files
from itertools import takewhile
from typing import Any

from sheet_reader.numbers import DECODE
from sheet_reader.wording import percent

CONSERVATIVE: float = DECODE.conservative
DELTA: float = DECODE.delta
FILE = "promise.json"
SHIPPED = "simulated photographs"
"""What the shipped checked fields are; change it with them."""
SHIPPED_BASIS = f"{SHIPPED}, not yet checked on your own"


@dataclass(frozen=True, slots=True)
class Tested:
    """A threshold that was tested: of ``checked`` fields with as much confidence, by ``people``
    persons (None: not known), ``wrong`` were wrong; ``bound`` is the upper bound of their share.
    """

    threshold: float
    wrong: int
    checked: int
    people: int | None
    bound: float


@dataclass(frozen=True, slots=True)
class Promise(Tested):
    """From ``threshold`` on at most ``allowed_error`` of the accepted fields are wrong, with
    confidence 1 - ``delta``. ``kept`` is the share of all checked fields that would be accepted;
    ``basis`` says which data it rests on.
    """

    allowed_error: float
    delta: float
    kept: float
    basis: str

    @property
    def sentence(self) -> str:
        """The promise in words."""
        whose = "" if self.people is None else f", written by {self.people:,} people,"
        whom = ", for people like those who wrote the checked ones" if self.people else ""
        basis = f" ({self.basis})" if self.basis else ""
        return (
            f"At most {self.allowed_error * 100:g} % of the accepted fields are wrong, with "
            f"{(1.0 - self.delta) * 100:g} % confidence{whom}: {self.wrong:,} of {self.checked:,} "
            f"checked ones{whose} were wrong, so at most {percent(self.bound)}{basis}."
        )


@dataclass(frozen=True, slots=True)
class NoPromise:
    """Nothing can be promised. ``reason`` says why in words, ``missing`` how many more accepted
    fields must be checked and found right (0: more data of this kind will not help), and
    ``threshold`` what to work with meanwhile: it promises the share ``meanwhile`` of errors
    (None: nothing).
    """

    reason: str
    missing: int
    threshold: float
    allowed_error: float
    delta: float
    wrong: int = 0
    checked: int = 0
    meanwhile: float | None = None

    @property
    def sentence(self) -> str:
        """The refusal in words."""
        if self.meanwhile is None:
            return f"No promise yet: {self.reason}."
        weaker = f"{self.meanwhile * 100:g} % can be promised meanwhile"
        return f"No promise yet: {self.reason}; {weaker}."


@dataclass(frozen=True, slots=True)
class PromiseTable:
    """Thresholds in the order of their testing, from the start to looser ones, with bounds that
    hold with probability 1 - ``delta``: what was tested on ``fields`` checked fields.

    For refusals: ``lower`` is the lower bound of the share wrong at the start, ``above`` a
    threshold above every wrong field, and ``sizes`` the numbers of fields of each person at the
    start (None: not known who wrote).
    """

    tested: tuple[Tested, ...]
    fields: int
    delta: float
    lower: float
    above: float
    sizes: tuple[int, ...] | None

    @classmethod
    def of(cls, data: Mapping[str, Any]) -> PromiseTable:
        """The table from what its file says."""
        tested = tuple(Tested(**row) for row in data["tested"])
        sizes = None if data["sizes"] is None else tuple(data["sizes"])
        return cls(**{**data, "tested": tested, "sizes": sizes})

    def loosest(self, allowed_error: float, basis: str = "") -> Promise | NoPromise:
        """The loosest threshold that keeps ``allowed_error``: the last before the first whose bound
        is above it.
        """
        kept = list(takewhile(lambda tested: tested.bound <= allowed_error, self.tested))
        if not kept:
            return self._refusal(allowed_error)
        at = kept[-1]
        return Promise(
            **asdict(at), allowed_error=allowed_error, delta=self.delta,
            kept=at.checked / max(1, self.fields), basis=basis,
        )  # fmt: skip

    def promise(self, allowed_error: float, basis: str = "") -> Promise | NoPromise:
        """As :meth:`loosest`; where nothing is promised, with the threshold of the best weaker
        promise.

        Weaker shares are tested from the weakest on, each at level delta, stopping at the first
        that fails: a fixed sequence again, so the last one that holds is a promise of its own.
        """
        given = self.loosest(allowed_error, basis)
        if isinstance(given, Promise):
            return given
        for factor in DECODE.weaker:
            weaker = self.loosest(allowed_error * factor)
            if isinstance(weaker, NoPromise):
                break
            given = replace(given, threshold=weaker.threshold, meanwhile=weaker.allowed_error)
        return given

    def _refusal(self, allowed_error: float) -> NoPromise:
        """Why the start keeps no promise, and what is missing."""
        from sheet_reader.decode.error_share import fields_missing  # SciPy: for refusals alone

        start, share = self.tested[0], f"{allowed_error * 100:g} %"
        wrong, checked = start.wrong, start.checked
        missing = fields_missing(wrong, checked, self.sizes, allowed_error, self.delta)
        if self.lower > allowed_error:
            reason = (
                f"{wrong:,} of {checked:,} checked fields with a confidence of "
                f"{start.threshold:g} or more were wrong, clearly more than {share}"
            )
            return NoPromise(reason, 0, self.above, allowed_error, self.delta, wrong, checked)
        found = f"{wrong:,} of {checked:,} checked fields wrong" if checked else "nothing checked"
        reason = (
            f"{found}; to be {(1.0 - self.delta) * 100:g} % sure of at most {share}, {missing:,} "
            "more must be checked and found right"
        )
        meanwhile = max(CONSERVATIVE, start.threshold)
        return NoPromise(reason, missing, meanwhile, allowed_error, self.delta, wrong, checked)


@lru_cache(maxsize=1)
def shipped_table() -> PromiseTable:
    """The table that ships with the package."""
    text = (files("sheet_reader.decode") / "data" / FILE).read_text(encoding="utf-8")
    return PromiseTable.of(json.loads(text))


def shipped_promise(allowed_error: float) -> Promise | NoPromise:
    """What the shipped data promise for ``allowed_error`` (share of accepted fields that may be
    wrong, 0..1). Its ``threshold`` is the one to read with, promise or not.
    """
    return shipped_table().promise(allowed_error, SHIPPED_BASIS)


@lru_cache(maxsize=32)
def default_threshold(allowed_error: float) -> float:
    """The threshold for ``allowed_error`` by the shipped data."""
    return shipped_promise(allowed_error).threshold
