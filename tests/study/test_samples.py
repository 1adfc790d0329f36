"""The two sample studies are what the documentation says of them."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from sheet_reader.demo.samples import SAMPLES as NAMES
from sheet_reader.demo.samples import sample_folder
from sheet_reader.study.reader import read_study
from sheet_reader.study.site_numbers import is_valid

SAMPLES = Path(__file__).parents[2] / "samples"


def test_a_sample_can_be_copied_and_is_the_one_of_the_package(tmp_path: Path) -> None:
    assert not any(path.is_symlink() for path in SAMPLES.rglob("*"))
    for name in NAMES:
        copy = tmp_path / name
        shutil.copytree(SAMPLES / name, copy, ignore=shutil.ignore_patterns("sheets"))
        theirs = {path.name: path.read_bytes() for path in sample_folder(name).iterdir()}
        assert {path.name: path.read_bytes() for path in copy.iterdir()} == theirs
        assert read_study(copy).key == name.replace("_", "-")


@pytest.mark.parametrize("name", NAMES)
def test_sites_is_sound_and_invented(name: str) -> None:
    study = read_study(SAMPLES / name)
    assert len(study.sites) >= 8
    assert all(is_valid(site.number) and len(site.number) == 4 for site in study.sites)
    assert all(site.contact.endswith("@example.org") for site in study.sites)
    assert study.key == name.replace("_", "-")


def test_bean_tips() -> None:
    study = read_study(SAMPLES / "bean_tips")
    assert study.paper == "A4"
    assert [h.kind.name for h in study.header] == ["site", "date", "number"]
    assert [p.name for p in study.plots] == ["pinched", "unpinched"]
    assert len(study.counts) == 7
    assert [rule.total for rule in study.sums] == ["pinched.ladybirds", "unpinched.ladybirds"]
    assert study.sums[0].parts == (
        "pinched.egg_clusters", "pinched.small_larvae", "pinched.large_larvae",
    )  # fmt: skip
    highest = {c.name: c.highest for c in study.counts}
    assert highest["ladybirds"] == sum(
        highest[name] for name in ("egg_clusters", "small_larvae", "large_larvae")
    )


def test_rock_pools() -> None:
    study = read_study(SAMPLES / "rock_pools")
    counts = [f for f in study.fields if f.kind.name == "count"]
    assert study.paper == "Letter"
    assert len(counts) == 60
    assert {f.boxes for f in counts} == {2, 3}
    assert not any(p.treatment for p in study.plots)
    assert not any(h.kind.name == "number" for h in study.header)
