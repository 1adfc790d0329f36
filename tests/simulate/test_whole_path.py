"""The benchmark as it is called, and its cases."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from thorough import or_fewer

from sheet_reader.lab.benchmark import Plan, measure
from sheet_reader.lab.generate import main as generate
from sheet_reader.lab.scoring import Score
from sheet_reader.simulate.cases import Desk, make_case, numbered
from sheet_reader.simulate.no_sheet import KINDS, no_sheet_photo, older_layout
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.truth import PhotoTruth


def test_pictures_without_a_sheet_of_the_study_say_so(beans, pools, hands) -> None:  # type: ignore[no-untyped-def]
    for kind in KINDS:
        photo = no_sheet_photo(kind, pools, older_layout(beans), hands, "hard", 3)
        assert photo.truth.kind == kind
        assert photo.truth.sheets == ()
        assert photo.upright.std() > 2


def test_every_case_of_a_row_can_be_made_again() -> None:
    desk = Desk.of_samples(ProceduralHands())
    assert numbered("all", 1, 3) == ("rock_pools", 1_000_003)
    first = make_case(desk, *("bean_tips", "hard"), 5)
    assert make_case(desk, "bean_tips", "hard", 5).data == first.data
    bare = make_case(desk, "bean_tips", "hard", 5, bare_share=1.0)
    assert bare.truth.sheets == ()
    two = make_case(desk, "bean_tips", "hard", 6, bare_share=0.0, sheets=2)
    assert len(two.truth.sheets) == 2


def test_generate_writes_pictures_with_their_truth(tmp_path: Path) -> None:
    arguments = [str(tmp_path), "--photos", "2", "--level", "hard", "--hands", "procedural"]
    done = CliRunner().invoke(generate, arguments)
    assert done.exit_code == 0, done.output
    for stem in ("bean_tips_hard_1_0000", "rock_pools_hard_1_0001"):
        assert (tmp_path / f"{stem}.jpg").stat().st_size > 10_000
        data = json.loads((tmp_path / f"{stem}.json").read_text(encoding="utf-8"))
        assert PhotoTruth.from_json(data).level == "hard"


@pytest.mark.slow
def test_typical_photos_are_found_and_their_boxes_placed() -> None:
    total = Score()
    photos = or_fewer(8, 3)
    for score in measure(Plan("typical", photos, "all", 21, "vision", 1, None)):
        total.add(score)
    assert total.found == total.sheets >= photos - 1
    assert total.misidentified == total.false_sheets == 0
    assert np.median(total.errors_mm) < 0.10
