"""The main figure and what stands beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from invented_season import OUTLINE, SeasonPlan, make_season

from sheet_reader.errors import UsageError
from sheet_reader.results.update.comparison import compare
from sheet_reader.results.update.frame import COLUMNS
from sheet_reader.results.update.outline import Outline

Line = dict[str, Any]


def frame_of(lines: Sequence[Line]) -> pd.DataFrame:
    """A frame of counts; a line says only what differs from a good blackfly count of 1."""
    standard: Line = {
        "site": "1008",
        "visit_date": "2026-05-01",
        "plot": "pinched",
        "treatment": "",
        "count": "blackfly",
        "value": 1,
        "unit": "",
        "status": "accepted",
        "effort": None,
    }
    full = [{**standard, **line} for line in lines]
    frame = pd.DataFrame([{"site_name": f"Place {line['site']}", **line} for line in full])
    frame = frame[[*COLUMNS, *(c for c in frame if c not in COLUMNS)]]
    return frame.astype({"site": "string", "site_name": "string", "value": "Int64"}).assign(
        visit_date=pd.to_datetime(frame["visit_date"]),
        effort=pd.array(frame["effort"].to_list(), dtype="Float64"),
    )


def both(treated: int | None, control: int | None, **more: Any) -> list[Line]:
    """A visit of both plots."""
    return [
        {"plot": "pinched", "value": treated, **more},
        {"plot": "unpinched", "value": control, **more},
    ]


@pytest.fixture
def per_visit() -> Outline:
    """Bean tips without an effort."""
    return replace(OUTLINE, effort=None)


def test_two_poisson_rates(per_visit: Outline) -> None:
    """11 events in 800 person-years against 21 in 3,011: the pooled ratio is 1.971 (R's page on
    poisson.test, from memory; recomputed)."""
    outline = replace(per_visit, effort=OUTLINE.effort)
    counts = frame_of(
        [
            {"plot": "pinched", "value": 11, "effort": 800},
            {"plot": "unpinched", "value": 21, "effort": 3011},
        ]
    )
    assert compare(counts, outline).pooled == pytest.approx(1.971488, abs=1e-6)


def test_the_sums_of_the_sites_by_hand(per_visit: Outline) -> None:
    """Sites of 1 + 2 against 6, and 0 against 4: ratios 1/2 and 0; nothing is added to a count."""
    counts = frame_of(
        [
            *both(1, 2, visit_date="2026-05-01"),
            *both(2, 4, visit_date="2026-05-08"),
            *both(0, 4, site="1076"),
            *both(0, 0, site="1145"),
        ]
    )
    result = compare(counts, per_visit)
    assert result.sites["ratio"].to_list()[:2] == [0.5, 0.0]
    assert np.isnan(result.sites["ratio"].iloc[2])
    assert result.pooled == pytest.approx(3 / 10)
    assert result.statement.verdict == "too few sites"
    assert (result.statement.sites, result.both_zero, result.animals) == (2, 1, 13)


def test_density_is_per_effort() -> None:
    """Twice the animals on twice the plants is the same density."""
    counts = frame_of(
        [
            {"plot": plot, "site": str(site), "value": n, "effort": plants}
            for site in range(6)
            for plot, n, plants in (
                ("pinched", 40 + 2 * site, 20),
                ("unpinched", 20 + site, 10),
            )
        ]
    )
    result = compare(counts, OUTLINE)
    assert result.statement.ratio == pytest.approx(1.0, abs=1e-6)
    assert result.effort_ratio == pytest.approx(2.0)


def test_sites_without_a_find_say_nothing_however_unequal_the_effort() -> None:
    """Eight animals against six on twice the effort were once told as 46 % fewer."""
    finds = [(2, 1), (1, 1), (1, 1), (2, 1), (1, 1), (1, 1)]
    lines = [
        {"plot": plot, "site": str(site), "value": n, "effort": plants}
        for site in range(30)
        for plot, n, plants in zip(
            ("pinched", "unpinched"), finds[site] if site < 6 else (0, 0), (20, 10), strict=True
        )
    ]
    with_all = compare(frame_of(lines), OUTLINE)
    only = compare(frame_of([line for line in lines if int(line["site"]) < 6]), OUTLINE)
    assert with_all.statement == only.statement
    assert with_all.statement.verdict == "open"
    assert with_all.both_zero == 24


def test_visits_are_paired_by_site_and_date(per_visit: Outline) -> None:
    counts = frame_of(
        [
            *both(5, 5),
            {"plot": "pinched", "value": 100, "visit_date": "2026-05-08"},
            {"plot": "unpinched", "value": 100, "visit_date": "2026-05-09"},
            {"plot": "pinched", "value": 100, "site": "1076"},
        ]
    )
    result = compare(counts, per_visit)
    assert len(result.visits) == 1
    assert result.sites["value_treated"].to_list() == [5.0]
    assert result.left_out.alone == 3


def test_values_that_wait_are_left_out_and_counted() -> None:
    good = {"effort": 10}
    counts = frame_of(
        [
            *both(5, 5, **good),
            {"visit_date": "2026-05-08", "value": 7, "status": "flagged", **good},
            {"visit_date": "2026-05-08", "plot": "unpinched", **good},
            {"visit_date": "2026-05-15", "value": None, "status": "empty", **good},
            {"visit_date": "2026-05-22", "value": None, "status": "unreadable", **good},
            {"visit_date": "2026-05-29", "value": 7, "effort": None},
            {"visit_date": "2026-06-05", "value": 7, "effort": 0},
        ]
    )
    left = compare(counts, OUTLINE).left_out
    assert (left.waiting, left.not_recorded, left.unreadable) == (1, 1, 1)
    assert (left.no_effort, left.alone, left.total) == (2, 1, 6)


def test_a_zero_is_a_count_and_an_empty_field_is_not(per_visit: Outline) -> None:
    empty = both(None, 4, site="1076", status="empty")
    result = compare(frame_of([*both(0, 4), *empty]), per_visit)
    assert result.sites["site"].to_list() == ["1008"]
    assert result.sites["value_treated"].to_list() == [0.0]


@pytest.mark.parametrize(("sites", "verdict"), [(5, "too few sites"), (6, "fewer")])
def test_no_verdict_from_fewer_than_six_sites(per_visit: Outline, sites: int, verdict: str) -> None:
    lines = [line for n in range(sites) for line in both(10 + n, 100 + 11 * n, site=f"{n}")]
    assert compare(frame_of(lines), per_visit).statement.verdict == verdict


def test_the_verdict_rests_on_the_widened_interval() -> None:
    """Seasons in which only the plain interval is clear of 1 stay open."""
    seen = set()
    for seed in range(12):
        counts = make_season(seed, SeasonPlan(sites=12, ratio=0.7))
        said = compare(counts, OUTLINE, reading_errors=False).statement
        assert said.plain
        assert said.widened
        clear = (said.plain.upper < 1, said.widened.upper < 1)
        assert (said.verdict == "fewer") == clear[1]
        seen.add(clear)
    assert (True, False) in seen


def test_more_looks_than_planned_widen_further(per_visit: Outline) -> None:
    counts = frame_of([line for n in range(7) for line in both(n + 1, 2 * n, site=f"{n}")])
    planned = compare(counts, per_visit, look=6)
    later = compare(counts, per_visit, look=9)
    assert (planned.planned_looks, later.planned_looks) == (6, 9)
    assert planned.statement.widened
    assert later.statement.widened
    assert later.statement.widened.level > planned.statement.widened.level


def test_an_empty_frame_compares_nothing() -> None:
    result = compare(make_season(1).iloc[:0], OUTLINE)
    assert result.statement.verdict == "too few sites"
    assert result.frame()["ratio"].isna().all()


def test_the_frame_for_statisticians() -> None:
    table = compare(make_season(4), OUTLINE).frame()
    ranges = table.iloc[:2]
    assert (ranges["lower"] < ranges["ratio"]).all()
    assert (ranges["ratio"] < ranges["upper"]).all()
    assert table["method"].iloc[2] == "pooled"
    assert table["estimand"].str.len().min() > 10


def test_the_order_of_lines_changes_nothing() -> None:
    counts = make_season(2)
    mixed = counts.sample(frac=1, random_state=1)
    pd.testing.assert_frame_equal(compare(counts, OUTLINE).frame(), compare(mixed, OUTLINE).frame())


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"treated": ""}, "compares no plots"),
        ({"treated": "unpinched"}, "with itself"),
        ({"treated": "mulched"}, "no plot named mulched"),
    ],
)
def test_wrong_plots(change: dict[str, str], message: str) -> None:
    with pytest.raises(UsageError, match=message):
        compare(make_season(1), replace(OUTLINE, **change))  # type: ignore[arg-type]


def test_an_unknown_count() -> None:
    with pytest.raises(UsageError, match="no count named ants"):
        compare(make_season(1), OUTLINE, "ants")


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ([{}, {}], "more than once"),
        ([{"status": "guessed"}], "guessed"),
        ([{"value": -1}], "negative"),
    ],
)
def test_a_frame_that_is_not_as_described(
    lines: list[dict[str, object]], message: str, per_visit: Outline
) -> None:
    with pytest.raises(UsageError, match=message):
        compare(frame_of(lines), per_visit)


def test_a_frame_without_a_column() -> None:
    with pytest.raises(UsageError, match="lacks effort"):
        compare(make_season(1).drop(columns="effort"), OUTLINE)
