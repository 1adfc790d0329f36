"""No writer, puzzle or image is on both sides of a split."""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np
import pytest

from sheet_reader.lab import splits
from sheet_reader.lab.sets import data_folder, load

PARTS = (splits.TRAIN, splits.DEV, splits.CALIBRATION, splits.TEST)


def test_the_hash_is_the_published_crc_32() -> None:
    # Check value of CRC-32/ISO-HDLC, catalogue of parametrised CRC algorithms: "123456789".
    assert splits.crc("123456789") == 0xCBF43926 == zlib.crc32(b"123456789")


def test_mnist_parts_are_apart_and_hold_every_digit() -> None:
    labels = np.repeat(np.arange(10), 6_000)
    data = {"split": np.array(["train"] * 60_000 + ["test"] * 10)}
    found = splits.mnist_split(data)
    assert [int((found == part).sum()) for part in PARTS] == [55_000, 2_500, 2_500, 10]
    for part in PARTS[:3]:
        counts = np.bincount(labels[found[:60_000] == part], minlength=10)
        assert counts.min() > 0.07 * counts.sum()


def test_writers_stay_together() -> None:
    writers = [f"{donor}{k:03}" for donor in ("aga", "app", "syn") for k in range(60)] * 2
    data: dict[str, Any] = {"writers": writers, "donor": [w[:3] for w in writers]}
    found = splits.unipen_split(data)
    assert np.array_equal(found[:180], found[180:])
    assert set(found) == set(PARTS)
    held = {w for w, part in zip(writers, found, strict=True) if part == splits.TEST}
    assert {w for w in writers if zlib.crc32(w.encode()) % 5 == 0} <= held
    assert {w for w in writers if w.startswith("app")} <= held


def test_pendigits_test_writers_never_train() -> None:
    data = {"writers": ["tra01", "tra27", "tra29", "tes01"]}
    assert list(splits.pendigits_split(data)) == list(PARTS)


def test_unknown_puzzles_count_as_test() -> None:
    photos = {"photo": np.array(["02_17_phone_0.jpg", "09_09_phone_0.jpg"])}
    assert list(splits.boxed_split(photos, {"02_17": splits.TRAIN})) == [splits.TRAIN, splits.TEST]


@pytest.mark.skipif(not (data_folder() / "unipen_1a.npz").exists(), reason="../shared is absent")
def test_the_real_sets_have_writers_in_every_part() -> None:
    for name, rule in (
        ("unipen_1a", splits.unipen_split),
        ("pendigits_orig", splits.pendigits_split),
    ):
        data = load(name)
        found = rule(data)
        by_part = [set(data["writers"][found == part]) for part in PARTS]
        assert all(by_part)
        assert sum(map(len, by_part)) == len(set(data["writers"]))
