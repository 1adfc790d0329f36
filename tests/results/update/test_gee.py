"""The GEE against a published example, and its failures."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from sheet_reader.results.update.gee import fit_gee, gee_view
from sheet_reader.results.update.pairs import pair_visits
from sheet_reader.results.update.season import OUTLINE, SeasonPlan, make_season


def _seizures() -> pd.DataFrame:
    """Five lines a patient: eight weeks before (period 0), then four times two weeks."""
    raw = files("statsmodels") / "genmod" / "tests" / "results" / "epil.csv"
    with raw.open("rb") as file:
        data = pd.read_csv(file)
    wrong = (data["subject"] == 8) & (data["period"] == 3)
    assert data.loc[wrong, "y"].item() == 21
    data.loc[wrong, "y"] = 23  # as published by Thall & Vail
    base = data[data["period"] == 1].assign(y=lambda d: d["base"], period=0)
    return pd.concat([data, base]).sort_values(["subject", "period"], ignore_index=True)


@pytest.mark.parametrize(
    ("without", "expected", "correlation"),
    [
        (None, (1.3476, 0.1108, 0.0265, -0.1037), 0.7716),
        (49, (1.3476, 0.1108, -0.1080, -0.3016), 0.5941),
    ],
)
def test_epilepsy_counts(
    without: int | None, expected: tuple[float, ...], correlation: float
) -> None:
    """Thall & Vail 1990, Biometrics 46:657-671, as analysed by Diggle, Heagerty, Liang & Zeger,
    Analysis of Longitudinal Data, 2nd ed., table 8.10 (from memory; recomputed). Patient 207 is
    subject 49 of the file."""
    data = _seizures()
    data = data[data["subject"] != without]
    after = (data["period"] > 0).astype(float)
    drug = (data["trt"] == "progabide").astype(float)
    design = np.column_stack([np.ones(len(data)), after, drug, after * drug])
    weeks = np.where(after == 1, 2.0, 8.0)
    fit = fit_gee(
        data["y"].to_numpy(dtype=float),
        design,
        data["subject"].to_numpy(),
        np.log(weeks),
        sm.families.Poisson(),
    )
    assert fit.params == pytest.approx(expected, abs=6e-5)
    assert fit.cov_struct.dep_params == pytest.approx(correlation, abs=6e-5)


def _visits(seed: int = 1, **plan: float) -> pd.DataFrame:
    counts = make_season(seed, SeasonPlan(**plan))  # type: ignore[arg-type]
    return pair_visits(counts, OUTLINE, "blackfly").visits


def test_a_season_gives_a_ratio_near_the_planted_one() -> None:
    view = gee_view(_visits(sites=200, visits=8))
    assert not view.failure
    assert view.ratio == pytest.approx(0.6 * np.exp(0.25**2 / 2), rel=0.12)
    assert view.dispersion > 0
    assert view.df == 198


def test_without_overdispersion_it_is_poisson() -> None:
    visits = _visits(sites=8)
    even = visits.assign(value_treated=3.0, value_control=4.0, effort_treated=1.0, effort_control=1)
    even.loc[::2, ["value_treated", "value_control"]] = [4.0, 3.0]
    view = gee_view(even)
    assert (view.failure, view.dispersion) == ("", 0.0)


def test_too_few_sites_is_a_failure_told() -> None:
    assert "at least 6 sites" in gee_view(_visits(sites=5)).failure


def test_a_plot_without_any_find_is_a_failure_told() -> None:
    view = gee_view(_visits(sites=8).assign(value_treated=0.0))
    assert "no find" in view.failure
    assert view.ratio is None


def test_a_fit_that_does_not_settle_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    real = sm.GEE.fit

    def stopped(self: object, **options: object) -> object:
        return real(self, **{**options, "ctol": 0.0, "maxiter": 3})

    monkeypatch.setattr(sm.GEE, "fit", stopped)
    view = gee_view(_visits(sites=8))
    assert "did not settle" in view.failure


def test_a_singular_fit_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> object:
        raise np.linalg.LinAlgError("Singular matrix")

    monkeypatch.setattr(sm.GEE, "fit", broken)
    assert "Singular matrix" in gee_view(_visits(sites=8)).failure
