"""Weeks, stages and sites as tables."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import made_season
import numpy as np
import pandas as pd
import pytest
from invented_season import OUTLINE, SeasonPlan, make_season
from made_facts import facts, visit

from sheet_reader.results.update.frame import frame_of
from sheet_reader.results.update.outline import outline_of
from sheet_reader.results.update.weeks import (
    site_weeks,
    stage_shares,
    totals,
    weekly_means,
    with_week,
)


def test_weeks_begin_on_the_first_day_of_the_season() -> None:
    frame = pd.DataFrame({"visit_date": pd.to_datetime(["2026-04-20", "2026-04-26", "2026-04-27"])})
    weeks = with_week(frame, OUTLINE)["week"].dt.strftime("%m-%d").to_list()
    assert weeks == ["04-20", "04-20", "04-27"]
    fortnights = with_week(frame, replace(OUTLINE, interval_days=14))["week"]
    assert fortnights.nunique() == 1


def test_weekly_means_are_those_of_the_sites() -> None:
    counts = make_season(3)
    means = weekly_means(counts, OUTLINE, "blackfly")
    week = pd.Timestamp("2026-05-04")
    days = counts["visit_date"].between(week, week + pd.Timedelta(days=6))
    mine = counts[
        days
        & (counts["count"] == "blackfly")
        & (counts["plot"] == "pinched")
        & counts["status"].isin(["accepted", "confirmed", "corrected"])
    ]
    density = mine["value"].astype(float) / mine["effort"].astype(float)
    line = means[(means["week"] == week) & (means["plot"] == "pinched")].iloc[0]
    assert line["mean"] == pytest.approx(density.mean())
    assert line["sites"] == len(density)
    assert 0 <= line["lower"] < line["mean"] < line["upper"]


def test_two_sites_have_a_mean_but_no_interval() -> None:
    means = weekly_means(make_season(3, SeasonPlan(sites=2, missed=0)), OUTLINE, "blackfly")
    assert means["mean"].notna().all()
    assert means["upper"].isna().all()


def test_shares_of_stages_add_up_and_incomplete_visits_take_no_part() -> None:
    counts = make_season(3)
    shares = stage_shares(counts, OUTLINE)
    sums = shares.groupby(["week", "plot"])["share"].sum()
    assert np.allclose(sums, 1)
    eggs = counts["count"] == "egg_clusters"
    holed = counts.assign(status=counts["status"].mask(eggs, "flagged"))
    assert len(stage_shares(holed, OUTLINE)) == 0


def test_a_study_without_comparison_has_its_plots_together() -> None:
    plain = replace(OUTLINE, treated="", control="")
    assert set(stage_shares(make_season(3), plain)["plot"]) == {""}


def test_site_weeks_tell_waiting_from_nothing() -> None:
    counts = make_season(3, SeasonPlan(sites=4))
    first = counts["site"].iloc[0]
    waits = counts.assign(status=counts["status"].mask(counts["site"] == first, "flagged"))
    table = site_weeks(waits, OUTLINE, "blackfly").set_index("site")
    assert table.loc[[first], "density"].isna().all()
    assert (table.loc[[first], "waiting"] > 0).all()
    assert table["density"].notna().any()


def test_totals_count_only_what_is_recorded() -> None:
    counts = make_season(3)
    table = totals(counts, OUTLINE)
    recorded = counts["status"].isin(["accepted", "confirmed", "corrected"])
    assert table["recorded"].sum() == recorded.sum()
    assert table["total"].sum() == counts.loc[recorded, "value"].sum()


def test_a_visit_counts_for_the_week_that_the_status_has_it_in() -> None:
    study = made_season.a_study(sites=1)
    early, late = (made_season.FIRST + timedelta(days=off) for off in (-2, 5))
    values = {f"{plot.name}.blackfly": 3 for plot in study.plots}
    both = facts(*(visit(study.sites[0].number, str(day), values) for day in (early, late)))
    counts = frame_of(study, both, made_season.FIRST + timedelta(days=30))
    weeks = with_week(counts, outline_of(study)).groupby("visit_date")["week"].first()
    assert [week.date() for week in weeks] == [
        made_season.FIRST, made_season.FIRST + timedelta(days=7)
    ]  # fmt: skip
