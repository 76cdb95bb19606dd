"""Regression of reactions: Poisson on site-days with time in place, and Cox beside.

Standard errors are robust to sites of one patient being alike. With few events for each
parameter a regression is refused, and says so.
"""

import math
import warnings
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
import statsmodels.api as sm
from scipy import stats
from statsmodels.duration.hazard_regression import PHReg
from statsmodels.tools.sm_exceptions import ModelWarning, PerfectSeparationWarning

from analysis.intervals import CONFIDENCE, FEWEST_CLUSTERS, FEWEST_EVENTS
from analysis.research.design import (
    Cells,
    Design,
    design_of,
    different,
    independent,
    is_sparse,
)
from analysis.research.factors import Factor
from analysis.research.risk import Risk

#: Events for each parameter: below the first no estimate is given, below the second it
#: is called unsteady. Peduzzi P et al. (1996) J Clin Epidemiol 49:1373-1379;
#: Vittinghoff E, McCulloch CE (2007) Am J Epidemiol 165:710-718 (both from memory).
REFUSED_BELOW: Final = 5
WARNED_BELOW: Final = 10

_ALL_ALIKE: Final = (
    "not estimated: patients do not differ in what happened to them, so that there are "
    "no limits by patient"
)

#: An error so small beside its value is rounding.
_ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Ratio:
    """A ratio with its limits."""

    ratio: float
    low: float
    high: float
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A regression, or why there is none.

    Attributes
    ----------
    ratios : dict of str to Ratio
        By level, ``factor`` and level joined by a tab.
    note : str
        Why there is none, or why it is unsteady; empty where neither.
    p_changes : float
        P that the ratio is the same early and late; NaN where not tested.
    """

    ratios: dict[str, Ratio]
    note: str
    p_changes: float = math.nan


def enough(events: int, parameters: int, patients: int) -> tuple[bool, str]:
    """Say whether events and patients suffice for a regression.

    Parameters
    ----------
    events, parameters, patients : int
        Reactions, coefficients without the intercept, and patients with time at risk.

    Returns
    -------
    is_enough : bool
        Whether it is fitted at all.
    note : str
        Why not, or why it is unsteady.
    """
    if patients < FEWEST_CLUSTERS:
        return False, (
            f"not estimated: {patients} patients, and limits that know of patients "
            f"need {FEWEST_CLUSTERS}"
        )
    if events < REFUSED_BELOW * parameters:
        return False, (
            f"not estimated: {_said(events, parameters)}, at least {REFUSED_BELOW} for "
            "each are needed"
        )
    if events < WARNED_BELOW * parameters:
        return True, (
            f"unsteady: {_said(events, parameters)}, {WARNED_BELOW} for each are wanted"
        )
    return True, ""


def _said(events: int, parameters: int) -> str:
    return (
        f"{events} reaction{'' if events == 1 else 's'} for {parameters} "
        f"parameter{'' if parameters == 1 else 's'}"
    )


def poisson_fit(
    risk: Risk, factors: tuple[Factor, ...], *, is_tested: bool = False
) -> Fit:
    """Fit a Poisson regression of reactions on factors and time in place.

    Parameters
    ----------
    risk : Risk
        Site-days at risk.
    factors : tuple of Factor
        One, or all together; rows in which one of them is not known are left out.
    is_tested : bool
        Also test whether the ratios are the same early and late.

    Returns
    -------
    Fit
        Standard errors are clustered by patient, with Student's t.

    Notes
    -----
    Breslow NE, Day NE (1987) Statistical Methods in Cancer Research II, ch. 4; Liang
    KY, Zeger SL (1986) Biometrika 73:13-22 (both from memory). Rows of a patient that
    are alike are added up first, which changes nothing. What the others give already
    (a drug that always goes with one diluent) is left out by name.
    """
    design = design_of(risk, factors)
    names, given, cells = independent(design, design.names)
    patients = different(design.patient)
    is_enough, note = enough(int(design.event.sum()), len(names), patients)
    if is_sparse(design, names):
        few = f"not estimated: fewer than {FEWEST_EVENTS} reactions on one side"
        return Fit(ratios={}, note=few)
    if not is_enough:
        return Fit(ratios={}, note=note)
    found = _robust(design, names, cells)
    own = [name for name in names if "\t" in name]
    if any(found.error(name) == 0.0 for name in own):
        return Fit(ratios={}, note=_ALL_ALIKE)
    left_out = "; ".join(name.replace("\t", " ") for name in given)
    said = f"cannot be told apart from the others: {left_out}" if given else ""
    return Fit(
        ratios={name: found.ratio(name) for name in own},
        note="; ".join(text for text in (note, said) if text),
        p_changes=_early_and_late(design, names, own) if is_tested else math.nan,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Robust:
    """Coefficients and their covariance by patient; the intercept stands first."""

    names: list[str]
    params: np.ndarray
    covariance: np.ndarray
    freedom: int

    def error(self, name: str) -> float:
        """Give the standard error of one coefficient.

        Parameters
        ----------
        name : str
            Of the coefficient.

        Returns
        -------
        float
            0 where it is nothing but rounding: no patient is off the fit.
        """
        place = 1 + self.names.index(name)
        error = math.sqrt(max(self.covariance[place, place], 0.0))
        return error if error > _ROUNDING else 0.0

    def ratio(self, name: str) -> Ratio:
        """Give the ratio of one coefficient.

        Parameters
        ----------
        name : str
            Of the coefficient.

        Returns
        -------
        Ratio
            With limits and P by Student's t.
        """
        value, error = self.params[1 + self.names.index(name)], self.error(name)
        reach = float(stats.t.isf((1 - CONFIDENCE) / 2, self.freedom)) * error
        return Ratio(
            math.exp(value),
            math.exp(value - reach),
            math.exp(value + reach),
            float(2 * stats.t.sf(abs(value) / error, self.freedom)),
        )

    def p_all(self, names: list[str]) -> float:
        """Test whether some coefficients are all 0.

        Parameters
        ----------
        names : list of str
            Of the coefficients.

        Returns
        -------
        float
            P of the Wald test, by the F distribution; NaN where patients do not differ
            enough to tell the coefficients apart.
        """
        places = [1 + self.names.index(name) for name in names]
        own = self.params[places]
        covariance = self.covariance[np.ix_(places, places)]
        if np.linalg.matrix_rank(covariance) < len(own) or not all(
            map(self.error, names)
        ):
            return math.nan
        statistic = own @ np.linalg.solve(covariance, own)
        return float(stats.f.sf(statistic / len(own), len(own), self.freedom))


def _robust(design: Design, names: list[str], cells: Cells) -> Robust:
    """Fit by statsmodels on rows added up, and take the covariance over patients.

    statsmodels' own clustered covariance needs a row for each patient and pattern,
    which is a hundred times as many; the two agree (tested).
    """
    model = sm.GLM(
        cells.event, cells.exog, family=sm.families.Poisson(), exposure=cells.days
    )
    with warnings.catch_warnings():
        # Every cell may be fitted exactly while patients differ within cells; where
        # they do not, the errors of 0 say so.
        warnings.simplefilter("ignore", PerfectSeparationWarning)
        found = model.fit()
    rate = np.exp(cells.exog @ found.params)[cells.of_row]
    off = design.event - rate * design.days
    patients = int(design.patient.max()) + 1
    columns = [np.ones(len(off)), *(design.columns[name] for name in names)]
    scores = np.column_stack(
        [np.bincount(design.patient, off * column, patients) for column in columns]
    )
    m = different(design.patient)
    bread = found.normalized_cov_params
    covariance = bread @ (scores.T @ scores) @ bread * m / (m - 1)
    return Robust(
        names=names,
        params=np.asarray(found.params),
        covariance=covariance,
        freedom=m - 1,
    )


def _early_and_late(design: Design, names: list[str], own: list[str]) -> float:
    """Test whether ratios differ between the earlier and the later half of events."""
    late = {f"late {name}": design.columns[name] * design.late for name in own}
    wide = replace(design, columns={**design.columns, "late": design.late, **late})
    kept, given, cells = independent(wide, [*names, "late", *late])
    if is_sparse(wide, list(late)) or set(late) & set(given):
        return math.nan
    return _robust(wide, kept, cells).p_all(list(late))


def cox_fit(
    times: pd.DataFrame, covariates: pd.DataFrame, ties: str = "efron"
) -> dict[str, Ratio]:
    """Fit a Cox regression of the time to a reaction.

    Parameters
    ----------
    times : DataFrame
        time, is_event and patient_id of each site, and entry where sites come in late.
    covariates : DataFrame
        Numbers, on the index of `times`.
    ties : str
        ``efron`` or ``breslow``.

    Returns
    -------
    dict of str to Ratio
        By covariate; limits by standard errors clustered by patient. Empty where the
        model comes to no estimate, or patients do not differ.
    """
    # Who was never at risk when there was an event says nothing, and PHReg would make
    # the clustered errors of all the others NaN.
    at = times.loc[times["is_event"], "time"]
    tells = times["time"] >= at.min()
    if "entry" in times:
        tells &= times["entry"] < at.max()
    times, covariates = times[tells], covariates[tells]
    model, whose = _cox(times, covariates, ties), pd.factorize(times["patient_id"])[0]
    with warnings.catch_warnings():
        warnings.simplefilter("error", ModelWarning)
        try:
            found = model.fit(groups=whose)
        except (ModelWarning, np.linalg.LinAlgError):
            return {}
    if not (np.isfinite(found.bse) & (found.bse > _ROUNDING)).all():
        return {}
    reach = stats.norm.isf((1 - CONFIDENCE) / 2)
    return {
        str(name): Ratio(
            float(np.exp(found.params[place])),
            float(np.exp(found.params[place] - reach * found.bse[place])),
            float(np.exp(found.params[place] + reach * found.bse[place])),
            float(found.pvalues[place]),
        )
        for place, name in enumerate(covariates.columns)
    }


def _cox(times: pd.DataFrame, covariates: pd.DataFrame, ties: str) -> PHReg:
    entry = times["entry"].to_numpy(float) if "entry" in times else None
    if entry is not None:
        # Who comes in as an event happens is not at risk of it, as in the curves;
        # PHReg would count them.
        entry = np.where(entry > 0, np.nextafter(entry, np.inf), entry)
    return PHReg(
        times["time"].to_numpy(float),
        covariates.to_numpy(float),
        status=times["is_event"].to_numpy(int),
        entry=entry,
        ties=ties,
    )
