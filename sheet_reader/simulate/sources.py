"""Where handwritten digits come from: the procedural hand, or sets of pen strokes and images.

A :class:`Hands` is many people; :meth:`Hands.writer` picks one with one pen, and the
:class:`DigitSource` it gives writes that person's digits. Pen strokes are drawn anew at the
page's own scale, so that the pen is as wide as a pen and no bitmap is blown up.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from sheet_reader.numbers import SIMULATE
from sheet_reader.simulate.hand import Hand, digit_strokes, random_hand
from sheet_reader.simulate.ink import Ink, InkPen, Stroke

Choice = dict[int, list[int]]
_KNOWN_WELL = SIMULATE.known_well
_LEAN, _WIDEN = SIMULATE.lean, SIMULATE.widen
"""How one person's digits differ in slant (dx/dy) and log width: small against what the samples
themselves differ (an assumption of this house)."""


class DigitSource(Protocol):
    """One person's hand. ``person`` names the set and the writer; "" for an invented one."""

    @property
    def person(self) -> str:
        """Who writes."""

    def draw(self, digit: int, height_px: int, width_px: int, rng: np.random.Generator) -> Ink:
        """Ink 0..1, float32 (height_px, width_px); the digit fills what its shape allows."""


class Hands(Protocol):
    """Many people's hands. ``name`` says which, for reports."""

    name: str

    def writer(self, pen: InkPen, rng: np.random.Generator) -> DigitSource:
        """One person with this pen."""


class ProceduralHands:
    """The package's own stroke hand."""

    name = "procedural hand"

    def writer(self, pen: InkPen, rng: np.random.Generator) -> DigitSource:
        """An invented person."""
        return _ProceduralWriter(random_hand(rng), pen)


@dataclass(frozen=True, slots=True)
class _ProceduralWriter:
    hand: Hand
    pen: InkPen
    person: str = ""

    def draw(self, digit: int, height_px: int, width_px: int, rng: np.random.Generator) -> Ink:
        strokes = digit_strokes(digit, self.hand, rng)
        fitted = fit_strokes(strokes, height_px, width_px, self.pen.width_px)
        return self.pen.draw(fitted, (height_px, width_px), rng)


@dataclass(frozen=True, slots=True)
class StrokeSet:
    """Digits as pen strokes: ``strokes[i]`` are polylines (N, 2: x right, y down) of sample i."""

    strokes: tuple[tuple[Stroke, ...], ...]
    labels: NDArray[np.uint8]
    writers: tuple[str, ...]


class StrokeHands:
    """People whose pen strokes were recorded. A person's chance grows with the number of their
    samples, up to ``_KNOWN_WELL``: else the one odd digit of a person with few samples would
    stand all over that person's sheets.
    """

    def __init__(self, name: str, samples: StrokeSet) -> None:
        self.name = name
        self._set = samples
        self._by_writer: dict[str, Choice] = {}
        self._all: Choice = {}
        for index, (writer, label) in enumerate(zip(samples.writers, samples.labels, strict=True)):
            for choice in (self._by_writer.setdefault(writer, {}), self._all):
                choice.setdefault(int(label), []).append(index)
        self._names = sorted(self._by_writer)
        counts = [sum(map(len, self._by_writer[name].values())) for name in self._names]
        weights = np.minimum(counts, _KNOWN_WELL)
        self._chance = weights / weights.sum()

    def writer(self, pen: InkPen, rng: np.random.Generator) -> DigitSource:
        """One recorded person; digits that the person never wrote come from another."""
        name = self._names[int(rng.choice(len(self._names), p=self._chance))]
        choice = {**self._all, **self._by_writer[name]}
        return _StrokeWriter(self._set, choice, pen, f"{self.name} {name}")

    @property
    def people(self) -> int:
        """How many people."""
        return len(self._names)


@dataclass(frozen=True, slots=True)
class _StrokeWriter:
    """Takes a person's samples in turn, so that one comes again only after all have been used, and
    leans and widens each a little, so that no two digits on a sheet are quite the same.
    """

    samples: StrokeSet
    choice: Choice
    pen: InkPen
    person: str = ""
    left: Choice = field(default_factory=dict)

    def draw(self, digit: int, height_px: int, width_px: int, rng: np.random.Generator) -> Ink:
        if not self.left.get(digit):
            self.left[digit] = [int(i) for i in rng.permutation(self.choice[digit])]
        strokes = self.samples.strokes[self.left[digit].pop()]
        lean, wide = rng.normal(0.0, _LEAN), np.exp(rng.normal(0.0, _WIDEN))
        strokes = tuple(s @ np.array([[wide, 0.0], [lean, 1.0]]) for s in strokes)
        fitted = fit_strokes(strokes, height_px, width_px, self.pen.width_px)
        return self.pen.draw(fitted, (height_px, width_px), rng)


def fit_strokes(
    strokes: Iterable[Stroke], height_px: int, width_px: int, pen_px: float
) -> list[Stroke]:
    """Polylines scaled (same factor both ways) and centred to fit a canvas with half a pen's
    width left free all round.
    """
    kept = list(strokes)
    everything = np.concatenate(kept)
    low, high = everything.min(axis=0), everything.max(axis=0)
    room = np.array([width_px - 1 - pen_px, height_px - 1 - pen_px])
    factor = float(np.min(room / np.maximum(high - low, 1e-6)))
    middle = np.array([(width_px - 1) / 2, (height_px - 1) / 2])
    return [(s - (low + high) / 2) * factor + middle for s in kept]


class ImageHands:
    """Digits as small images (N, H, W), ink bright on dark. With ``writers`` (N,) each sheet is one
    person's, digits that the person never wrote coming from all; else it draws from the whole set.
    """

    def __init__(
        self, name: str, images: NDArray[np.uint8], labels: NDArray[np.uint8],
        writers: NDArray[np.str_] | None = None,
    ) -> None:  # fmt: skip
        self.name = name
        self._images, self._labels = images, labels
        self._all = self._choice(np.arange(len(labels)))
        self._writers = np.full(len(labels), "") if writers is None else writers
        self._names = np.unique(self._writers).tolist()

    def _choice(self, samples: NDArray[np.intp]) -> Choice:
        labels = self._labels[samples]
        return {int(d): samples[labels == d].tolist() for d in np.unique(labels)}

    def writer(self, pen: InkPen, rng: np.random.Generator) -> DigitSource:
        """One person, or the set as it is; of the pen only the darkness counts, its width is in the
        images.
        """
        if self._names == [""]:
            return _ImageWriter(self._images, self._all, pen.pen.darkness)
        name = self._names[int(rng.integers(len(self._names)))]
        own = self._choice(np.flatnonzero(self._writers == name))
        darkness = pen.pen.darkness
        return _ImageWriter(self._images, self._all | own, darkness, f"{self.name} {name}")

    @property
    def people(self) -> int:
        """How many people; 1 where that is not known."""
        return len(self._names)


@dataclass(frozen=True, slots=True)
class _ImageWriter:
    """Of a person the samples come in turn, leaning and widened a little, as those of
    ``_StrokeWriter``; of a whole set as they are.
    """

    images: NDArray[np.uint8]
    choice: Choice
    darkness: float
    person: str = ""
    left: Choice = field(default_factory=dict)

    def _sample(self, place: int) -> NDArray[np.float32]:
        return np.asarray(self.images[place], np.float32) / np.float32(255)

    def _next(self, digit: int, rng: np.random.Generator) -> NDArray[np.float32]:
        if not self.person:
            return self._sample(int(rng.choice(self.choice[digit])))
        if not self.left.get(digit):
            self.left[digit] = [int(i) for i in rng.permutation(self.choice[digit])]
        image = self._sample(self.left[digit].pop())
        lean, wide = rng.normal(0.0, _LEAN), np.exp(rng.normal(0.0, _WIDEN))
        rows, columns = image.shape
        move = np.array([[wide, lean, (columns - 1) / 2], [0.0, 1.0, (rows - 1) / 2]])
        move[:, 2] -= move[:, :2] @ [(columns - 1) / 2, (rows - 1) / 2]
        moved = cv2.warpAffine(image, move, (columns, rows), flags=cv2.INTER_CUBIC)
        return np.asarray(moved, np.float32)

    def draw(self, digit: int, height_px: int, width_px: int, rng: np.random.Generator) -> Ink:
        image = self._next(digit, rng)
        rows, columns = (np.flatnonzero(image.max(axis=a) > 0.3) for a in (1, 0))
        inner = image[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        inner = np.pad(inner, 1)
        factor = min(height_px / inner.shape[0], width_px / inner.shape[1])
        size = (max(1, int(inner.shape[1] * factor)), max(1, int(inner.shape[0] * factor)))
        large = cv2.resize(inner, size, interpolation=cv2.INTER_CUBIC)
        large = np.clip((large - 0.25) * 2, 0, 1) * np.float32(self.darkness)
        ink = np.zeros((height_px, width_px), np.float32)
        top, left = (height_px - size[1]) // 2, (width_px - size[0]) // 2
        ink[top : top + size[1], left : left + size[0]] = large
        return ink


class MixedHands:
    """Several sets, each sheet from one of them with equal chance, or by ``shares`` (adding up to
    1), such as that of its people.
    """

    def __init__(self, parts: list[Hands], shares: list[float] | None = None) -> None:
        self.name = " + ".join(part.name for part in parts)
        self._parts, self._shares = parts, shares

    def writer(self, pen: InkPen, rng: np.random.Generator) -> DigitSource:
        """A person of one of the sets."""
        if self._shares is None:
            return self._parts[int(rng.integers(len(self._parts)))].writer(pen, rng)
        which = int(rng.choice(len(self._parts), p=self._shares))
        return self._parts[which].writer(pen, rng)


def held_out(donor: str) -> bool:
    """Whether a UNIPEN donor is kept apart from training (a fifth of them, by checksum)."""
    return zlib.crc32(donor.encode()) % 5 == 0


def load_strokes(path: Path, keep: NDArray[np.bool_] | None = None) -> StrokeSet:
    """Pen strokes of an npz with ``pts``, ``stroke_len``, ``n_strokes``, ``labels`` and a writer
    per sample; ``keep`` (N,) chooses samples.
    """
    with np.load(path) as data:
        labels, writers = data["labels"], data["writers"]
        points, lengths, counts = data["pts"], data["stroke_len"], data["n_strokes"]
    ends = np.cumsum(lengths)
    last = np.cumsum(counts)
    chosen = np.arange(len(labels)) if keep is None else np.flatnonzero(keep)
    strokes = []
    for index in chosen:
        parts = range(last[index] - counts[index], last[index])
        strokes.append(
            tuple(points[ends[p] - lengths[p] : ends[p]].astype(np.float64) for p in parts)
        )
    return StrokeSet(tuple(strokes), labels[chosen], tuple(str(w) for w in writers[chosen]))
