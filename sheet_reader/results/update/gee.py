"""A second view of the comparison: a GEE over all paired visits, by statsmodels.

Liang & Zeger 1986, Biometrika 73:13-22; the bias-reduced covariance is that of Mancl & DeRouen
2001, Biometrics 57:126-134. Its estimand is the ratio of mean densities over all visits (sites
with many animals weigh more), not the mean of the ratios of the sites.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import t as student

LEAST_SITES = 6
NOT_INSTALLED = "statsmodels is not installed"
"""The failure where the extra "update" is missing; the page then leaves the second view out."""


@dataclass(frozen=True, slots=True)
class GeeView:
    """``failure`` says in one sentence why there is no result; then the figures are None.

    ``ratio`` treated to control, with its interval of ``level`` from t with ``df`` degrees of
    freedom (sites less two parameters). ``dispersion`` is the negative binomial's alpha (variance
    = mean + alpha mean²); 0 means Poisson. ``correlation`` holds between values of one site.
    """

    failure: str
    level: float
    ratio: float | None = None
    lower: float | None = None
    upper: float | None = None
    df: int = 0
    dispersion: float = 0.0
    correlation: float | None = None


class GeeError(Exception):
    """The fit has no result that could be shown; its text says why. It never leaves the room."""


def is_installed() -> bool:
    """Whether statsmodels is there to fit with."""
    return find_spec("statsmodels") is not None


def gee_view(visits: pd.DataFrame, level: float = 0.95) -> GeeView:
    """Fit paired ``visits`` (see ``pairs.Paired``): count ~ plot, sites as groups, log effort as
    offset, exchangeable correlation. A failure is a value, never an exception.
    """
    if not is_installed():
        return GeeView(NOT_INSTALLED, level)
    groups = visits["site"].nunique()
    if groups < LEAST_SITES:
        return GeeView(f"it needs at least {LEAST_SITES} sites", level)
    try:
        return _fitted(visits, groups - 2, level)
    except GeeError as failed:
        return GeeView(str(failed), level)
    except (np.linalg.LinAlgError, ValueError, FloatingPointError, ZeroDivisionError) as error:
        return GeeView(f"the calculation broke off ({error})", level)


def _fitted(visits: pd.DataFrame, df: int, level: float) -> GeeView:
    fit, alpha = fit_pairs(visits)
    estimate, variance = float(fit.params[1]), float(fit.cov_params()[1, 1])
    if not (np.isfinite(estimate) and np.isfinite(variance) and variance > 0):
        raise GeeError("its standard error could not be found")
    reach = float(student.ppf(0.5 + level / 2, df) * np.sqrt(variance))
    return GeeView(
        failure="",
        level=level,
        ratio=float(np.exp(estimate)),
        lower=float(np.exp(estimate - reach)),
        upper=float(np.exp(estimate + reach)),
        df=df,
        dispersion=alpha,
        correlation=float(fit.cov_struct.dep_params),
    )


def fit_pairs(visits: pd.DataFrame) -> tuple[Any, float]:
    """statsmodels' fit of paired ``visits`` and the dispersion used (0 means Poisson).

    The second parameter is the log ratio. Raises GeeError where there is no fit.
    """
    import statsmodels.api as sm

    counts = np.concatenate([visits["value_treated"], visits["value_control"]])
    effort = np.concatenate([visits["effort_treated"], visits["effort_control"]])
    site = np.concatenate([visits["site"], visits["site"]])
    treated = np.repeat([1.0, 0.0], len(visits))
    if min(counts[treated == 1].sum(), counts[treated == 0].sum()) == 0:
        raise GeeError("one of the plots has no find at all yet")
    design = np.column_stack([np.ones_like(treated), treated])
    poisson = fit_gee(counts, design, site, np.log(effort), sm.families.Poisson())
    alpha = _moment_dispersion(counts, np.asarray(poisson.fittedvalues))
    if alpha == 0:
        return poisson, 0.0
    family = sm.families.NegativeBinomial(alpha=alpha)
    return fit_gee(counts, design, site, np.log(effort), family), alpha


def fit_gee(
    counts: NDArray[np.float64],
    design: NDArray[np.float64],
    site: NDArray[np.object_],
    offset: NDArray[np.float64],
    family: Any,
) -> Any:
    """statsmodels' fit with exchangeable correlation inside each ``site``, ``offset`` on the log
    scale and the bias-reduced covariance. Raises GeeError where it did not converge.
    """
    import statsmodels.api as sm

    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        fit = sm.GEE(
            counts,
            design,
            groups=site,
            family=family,
            offset=offset,
            cov_struct=sm.cov_struct.Exchangeable(),
        ).fit(cov_type="bias_reduced", maxiter=200)
    if fit is None or not fit.converged:
        why = str(told[0].message).rstrip(".") if told else "no warning was given"
        raise GeeError(f"it did not settle ({why})")
    return fit


def _moment_dispersion(counts: NDArray[np.float64], mean: NDArray[np.float64]) -> float:
    """alpha of variance = mean + alpha mean², by the method of moments; 0 where not above."""
    excess = ((counts - mean) ** 2 - mean) / mean**2
    return max(0.0, float(np.sum(excess) / (len(counts) - 2)))
