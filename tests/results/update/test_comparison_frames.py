"""The comparison as data frames: against plain arithmetic on the visits, and with nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_facts import fact, facts, visit

from sheet_reader.errors import UsageError
from sheet_reader.results.update.comparison import CountComparison, compare_facts
from sheet_reader.results.update.kept import Made
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study, UpdatePlan

STUDY = read_study(Path(__file__).parents[3] / "samples" / "bean_tips")
Counted = dict[tuple[str, str], tuple[int, int, int, int]]
"""Blackfly and minutes of the pinched half, then of the other, by site and day."""


def drawn() -> Counted:
    chance = np.random.default_rng(3)
    days = ("2026-05-04", "2026-05-11")
    keys = [(site.number, day) for site in STUDY.sites[:8] for day in days]
    return {
        key: (int(chance.poisson(5)), int(chance.integers(5, 15)), int(chance.poisson(9)), 10)
        for key in keys
    }


def compared(
    counted: Counted,
    count: str = "",
    study: Study = STUDY,
    made: tuple[Made, ...] = (),
    until: date | None = None,
) -> CountComparison:
    visits = []
    for (site, day), numbers in counted.items():
        names = ("pinched.blackfly", "pinched.minutes", "unpinched.blackfly", "unpinched.minutes")
        said = {n: fact(n, str(v)) for n, v in zip(names, numbers, strict=True)}
        visits.append(visit(site, day, said))
    return compare_facts(study, facts(*visits), list(made), count, until)


def test_the_numbers_of_each_site_by_hand() -> None:
    counted = drawn()
    found = compared(counted)
    assert (found.count, found.treated, found.control) == ("blackfly", "pinched", "unpinched")
    assert found.effort_unit == "min"
    for _, line in found.sites.iterrows():
        mine = [numbers for (site, _), numbers in counted.items() if site == line["site"]]
        a, m, b, n = (sum(numbers[i] for numbers in mine) for i in range(4))
        assert (line["value_treated"], line["value_control"], line["visits"]) == (a, b, 2)
        assert (line["effort_treated"], line["effort_control"]) == (m, n)
        assert line["ratio"] == pytest.approx(a / m / (b / n))
    summary = found.summary.set_index("method")
    assert list(summary.index) == ["typical site, all looks", "typical site, one look", "pooled"]
    wide, plain = summary.iloc[0], summary.iloc[1]
    assert wide["lower"] < plain["lower"] < plain["ratio"] < plain["upper"] < wide["upper"]
    assert wide["sites"] == 8
    assert len(found.visits) == 16


def test_types_are_those_of_the_door() -> None:
    found = compared(drawn())
    assert found.sites["site"].dtype == "string"
    assert {str(found.sites[c].dtype) for c in ("visits", "value_treated")} == {"Int64"}
    assert {str(found.sites[c].dtype) for c in ("ratio", "effort_control")} == {"Float64"}
    assert str(found.visits["visit_date"].dtype) == "datetime64[ns]"
    assert str(found.summary["ratio"].dtype) == "Float64"


def test_until_and_the_updates_made_are_minded() -> None:
    early = compared(drawn(), until=date(2026, 5, 4))
    assert set(early.visits["visit_date"]) == {pd.Timestamp("2026-05-04")}
    made = tuple(Made(date(2026, 5, day), "2026-06-01") for day in range(1, 21))
    assert compared(drawn(), made=made).planned_looks == 20


@pytest.mark.parametrize("sites", [0, 1])
def test_next_to_nothing_is_no_error_and_says_why(sites: int) -> None:
    some = dict(list(drawn().items())[: 2 * sites])
    found = compared(some)
    assert len(found.sites) == sites
    assert found.verdict == "too few sites"
    main = found.summary.set_index("method").loc["typical site, all looks"]
    assert main["ratio"] is pd.NA
    assert "fewer than two" in main["note"]


def test_one_plot_alone_is_counted_as_left_out() -> None:
    said = {n: fact(n, "4") for n in ("pinched.blackfly", "pinched.minutes")}
    found = compare_facts(STUDY, facts(visit("0174", "2026-05-04", said)), [])
    assert found.left_out["alone"] == 1
    assert len(found.sites) == 0


def test_a_value_that_waits_is_left_out_and_counted() -> None:
    said = {n: fact(n, "4") for n in ("pinched.minutes", "unpinched.minutes", "unpinched.blackfly")}
    said["pinched.blackfly"] = fact("pinched.blackfly", "4", "flagged")
    found = compare_facts(STUDY, facts(visit("0174", "2026-05-04", said)), [])
    assert (found.left_out["waiting"], found.left_out["alone"]) == (1, 1)


@pytest.mark.parametrize("name", ["ants", "minutes", "pinched.blackfly", "Blackfly"])
def test_a_count_that_cannot_be_compared_is_refused_with_those_that_can(name: str) -> None:
    with pytest.raises(UsageError, match=f"no count named {name}") as caught:
        compared(drawn(), name)
    assert "egg_clusters" in str(caught.value)


def test_a_study_without_two_plots_to_compare() -> None:
    plots = tuple(replace(plot, treatment="") for plot in STUDY.plots)
    study = replace(STUDY, plots=plots, update=UpdatePlan())
    with pytest.raises(UsageError, match="compares no plots"):
        compared(drawn(), study=study)
