"""No writer, puzzle or image is in two roles."""

from __future__ import annotations

import zlib
from itertools import combinations

import numpy as np
import pytest

from sheet_reader.lab import splits
from sheet_reader.lab.hands import mislabelled
from sheet_reader.lab.sets import data_folder, load
from sheet_reader.lab.writers import (
    CHECKED,
    ROLES,
    TABLE,
    TEST,
    TRAIN,
    roles_of,
    writers_in,
)

DATA = pytest.mark.skipif(
    not (data_folder() / "mnist_writers.npz").exists(), reason="../shared is absent"
)


@pytest.mark.parametrize("name", TABLE)
def test_no_writer_is_in_two_roles(name: str) -> None:
    parts = {role: TABLE[name][role].split() for role in ROLES}
    for role, names in parts.items():
        assert names, role
        assert len(names) == len(set(names)), role
    for one, other in combinations(ROLES, 2):
        assert not set(parts[one]) & set(parts[other]), (one, other)


def test_a_writer_in_two_roles_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    both = {"twice": {TRAIN: "a b", TEST: "c b"}}
    monkeypatch.setattr("sheet_reader.lab.writers.TABLE", both)
    with pytest.raises(ValueError, match="writer b is in two roles"):
        roles_of("twice")


def test_enough_people_write_the_checked_fields() -> None:
    assert sum(len(writers_in(name, CHECKED)) for name in TABLE) >= 150


def test_the_benchmark_keeps_its_writers() -> None:
    """The rule it had from the start; its figures compare with earlier ones only by that."""
    assert writers_in("pendigits_orig", TEST) == tuple(f"tes{k:02}" for k in range(1, 15))
    for writer, role in roles_of("unipen_1a").items():
        kept = any(zlib.crc32(name.encode()) % 5 == 0 for name in (writer, writer[:3]))
        assert kept == (role == TEST), writer
    assert len(writers_in("unipen_1a", TEST)) == 37


def test_unknown_puzzles_count_as_benchmark() -> None:
    photos = {"photo": np.array(["02_17_phone_0.jpg", "09_09_phone_0.jpg"])}
    assert list(splits.boxed_roles(photos, {"02_17": TRAIN})) == [TRAIN, TEST]


def test_an_unknown_writer_has_no_role() -> None:
    with pytest.raises(KeyError):
        splits.roles("unipen_1a", {"writers": np.array(["aga000", "zzz999"])})


@DATA
@pytest.mark.parametrize("name", TABLE)
def test_the_table_has_every_writer_of_the_real_sets(name: str) -> None:
    data = load(name)
    found = splits.roles(name, data)
    assert set(splits.writer_names(name, data["writers"])) == set(roles_of(name))
    assert set(found) == set(ROLES)
    if name == "mnist":
        assert np.array_equal(found == TEST, data["split"].astype(str) == "test")
    if name == "unipen_1a":
        donors = {str(w): str(d) for w, d in zip(data["writers"], data["donor"], strict=True)}
        assert all(writer[:3] == donor for writer, donor in donors.items())


@DATA
def test_only_training_and_checked_samples_are_left_out_as_mislabelled() -> None:
    """To leave out samples of those who choose or measure would flatter the figures."""
    for name, places in mislabelled().items():
        assert places
        assert set(splits.roles(name, load(name))[places]) <= {TRAIN, CHECKED}
