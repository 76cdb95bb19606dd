"""Curves, medians and tests of sites as tables."""

from typing import Final

import numpy as np
import pandas as pd

from analysis.research.survival import (
    COMPETING,
    cumulative_incidence,
    free_at,
    kaplan_meier,
    log_rank,
    median_time,
    self_consistent,
)
from analysis.terms import ALL, SiteEnd

#: A curve is read off at each quarter of a day, and no longer than so many sites are at
#: risk: a tail of fewer says little of all sites, and much of each.
_STEP: Final = 0.25
_FEWEST_AT_RISK: Final = 5

#: Groups of fewer patients have no curve of their own.
_FEWEST_PATIENTS: Final = 10
_MOST_GROUPS: Final = 8

FACTORS: Final = {
    "material": "cannula material",
    "location": "location",
    "ward": "ward",
}

#: Removals of a site that could stay no longer.
_FAILED: Final = (str(SiteEnd.REACTION), str(SiteEnd.REMOVAL))

_NOT_REACHED: Final = "not reached"
_OF_FEW: Final = f"not given: fewer than {_FEWEST_AT_RISK} sites were at risk by then"

_NOT_COMPARED: Final = (
    "not tested: the reactions do not compare every group with the others (the sites "
    "in place at them were of one group, or all of these reacted)"
)

_CURVE_COLUMNS: Final = ["curve", "group", "day", "at_risk", "estimate", "low", "high"]


def groups_of(times: pd.DataFrame, column: str) -> pd.Series:
    """Name the group of each site, as far as its group has enough patients.

    Parameters
    ----------
    times : DataFrame
        As given by `site_times`.
    column : str
        One of `FACTORS`.

    Returns
    -------
    Series of str
        Missing where nothing is recorded, or the group is too small.
    """
    words = times[column].astype("str").str.strip()
    words = words.mask(words == "")
    patients = times.groupby(words)["patient_id"].nunique()
    large = patients[patients >= _FEWEST_PATIENTS].nlargest(_MOST_GROUPS).index
    return words.where(words.isin(large))


def _sets(times: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    """Give all sites, and the groups of each factor that has two or more."""
    found = [(ALL, times)]
    for column, name in FACTORS.items():
        groups = groups_of(times, column)
        names = sorted(groups.dropna().unique())
        if len(names) > 1:
            found += [(f"{name}: {each}", times[groups == each]) for each in names]
    return found


def curve_table(times: pd.DataFrame) -> pd.DataFrame:
    """Estimate how long sites stay free of a reaction, and what they come to.

    Parameters
    ----------
    times : DataFrame
        As given by `site_times`.

    Returns
    -------
    DataFrame
        The ``curves`` table: Kaplan-Meier for all sites and groups; for all sites the
        interval-censored estimate, the ends that compete, and sites still in place.
    """
    parts = [
        _read_off(
            "free of reaction",
            name,
            kaplan_meier(_to_reaction(own)),
            _grid(own, "time"),
        )
        for name, own in _sets(times)
    ]
    grid = _grid(times, "time")
    parts.append(_between_looks(times, grid))
    parts += _competing(times)
    gone = _to_removal(times)
    parts.append(_read_off("in place", ALL, kaplan_meier(gone), _grid(gone, "time")))
    return pd.concat(parts, ignore_index=True)[_CURVE_COLUMNS]


def _to_reaction(times: pd.DataFrame) -> pd.DataFrame:
    return times.assign(is_event=times["is_reaction"])


def _to_removal(times: pd.DataFrame) -> pd.DataFrame:
    """Follow sites to their removal for whatever reason, treatment going on."""
    own = times.assign(time=times["gone"], is_event=times["leaves"] == SiteEnd.REMOVAL)
    return own[own["time"] > own["entry"]]


def _to_failure(times: pd.DataFrame) -> pd.DataFrame:
    """Follow sites to a reaction or a removal, whichever is first."""
    return times.assign(is_event=times["end"].isin(_FAILED))


def _grid(times: pd.DataFrame, column: str) -> pd.DataFrame:
    """Give the days at which a curve is read off, and how many are at risk then."""
    ends, entry = np.sort(times[column].to_numpy(float)), np.sort(times["entry"])
    last = ends[-1] if len(ends) else 0.0
    days = np.arange(0, last + _STEP, _STEP)
    come = np.searchsorted(entry, days, side="left")
    come[0] = np.searchsorted(entry, 0.0, side="right")
    at_risk = come - np.searchsorted(ends, days, side="left")
    few = np.flatnonzero(at_risk < _FEWEST_AT_RISK)
    until = max(int(few[0]) if len(few) else len(days), 1)
    return pd.DataFrame({"day": days[:until], "at_risk": at_risk[:until]})


def _read_off(
    curve: str, group: str, steps: pd.DataFrame, grid: pd.DataFrame, start: float = 1.0
) -> pd.DataFrame:
    if "at_risk" in steps:
        grid = grid[(grid["day"] == 0) | (grid["day"] < _first_of_few(steps))]
    place = np.searchsorted(steps["time"].to_numpy(), grid["day"], side="right")
    read = {
        name: np.concatenate([[before], steps[name].to_numpy(float)])[place]
        for name, before in (("estimate", start), ("low", np.nan), ("high", np.nan))
    }
    return grid.assign(curve=curve, group=group, **read)


def _first_of_few(steps: pd.DataFrame) -> float:
    """Give the first event that fewer sites were at risk of than a curve may rest on.

    Sites that come in late make such events early too, and one of a single site takes
    the whole curve to 0 (infinite where there is none).
    """
    few = steps.loc[steps["at_risk"] < _FEWEST_AT_RISK, "time"]
    return float(few.min()) if len(few) else np.inf


def _between_looks(times: pd.DataFrame, grid: pd.DataFrame) -> pd.DataFrame:
    own = times[times["entry"] <= 0]
    estimate = np.full(len(grid), np.nan)
    if own["is_reaction"].any():
        masses = self_consistent(own["clear"].to_numpy(), own["seen"].to_numpy())
        estimate = free_at(masses, grid["day"].to_numpy())
    return grid.assign(
        curve="free of reaction, between looks",
        group=ALL,
        estimate=estimate,
        low=np.nan,
        high=np.nan,
    )


def _competing(times: pd.DataFrame) -> list[pd.DataFrame]:
    own = times[times["entry"] <= 0]
    codes = {str(end): place for place, end in enumerate(COMPETING, start=1)}
    cause = own["end"].map(codes).fillna(0).to_numpy(int)
    if not cause.any():
        return []
    found = cumulative_incidence(own["time"].to_numpy(float), cause)
    grid = _grid(own, "time")
    return [
        _read_off(f"came to {end}", ALL, steps, grid, 0.0)
        for end, steps in zip(COMPETING, found, strict=False)
    ]


def duration_table(times: pd.DataFrame) -> pd.DataFrame:
    """Give median times with their limits; never a mean of those that ended.

    Parameters
    ----------
    times : DataFrame
        As given by `site_times`.

    Returns
    -------
    DataFrame
        The ``durations`` table. A median, or a limit, at or after the first event that
        fewer than five sites were at risk of is not given.
    """
    rows = []
    for name, own in _sets(times):
        for until, follow in (
            ("reaction", _to_reaction),
            ("failure", _to_failure),
            ("removal", _to_removal),
        ):
            followed = follow(own)
            median = median_time(followed)
            until_few = _first_of_few(kaplan_meier(followed))
            is_of_few = np.isfinite(median.days) and median.days >= until_few
            is_none = not np.isfinite(median.days)
            rows.append(
                {
                    "until": until,
                    "group": name,
                    "sites": len(followed),
                    "patients": followed["patient_id"].nunique(),
                    "events": int(followed["is_event"].sum()),
                    "median_days": np.nan if is_of_few else median.days,
                    "low_days": median.low if median.low < until_few else np.nan,
                    "high_days": median.high if median.high < until_few else np.nan,
                    "note": _OF_FEW if is_of_few else _NOT_REACHED if is_none else "",
                }
            )
    table = pd.DataFrame(rows)
    days = ["median_days", "low_days", "high_days"]
    table[days] = table[days].replace(np.inf, np.nan)
    return table


def group_tests(times: pd.DataFrame) -> pd.DataFrame:
    """Compare the curves of groups.

    Parameters
    ----------
    times : DataFrame
        As given by `site_times`.

    Returns
    -------
    DataFrame
        The ``tests`` table; a factor with one group alone, or without a reaction in
        its groups, has no row. Where the test cannot be made, its note says why.
    """
    rows = []
    for column, name in FACTORS.items():
        groups = groups_of(times, column)
        own = _to_reaction(times[groups.notna()])
        if groups.nunique() < 2 or not own["is_event"].any():
            continue
        tested = log_rank(own, groups.dropna())
        rows.append(
            {
                "factor": name,
                "groups": ", ".join(sorted(groups.dropna().unique())),
                "chi_square": tested.chi_square if tested else np.nan,
                "freedom": groups.nunique() - 1,
                "p": tested.p if tested else np.nan,
                "note": "" if tested else _NOT_COMPARED,
            }
        )
    names = pd.Index(["factor", "groups", "chi_square", "freedom", "p", "note"])
    return pd.DataFrame(rows, columns=names)
