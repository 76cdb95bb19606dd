"""What each ward may be asked about first, from figures that may be shared."""

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from analysis.report import facts
from analysis.share.figures import FIGURES

#: Shares that a ward would have at 100 %.
_SHARES: Final = (
    "covered_time",
    "checks_on_time",
    "syringe_changed_in_time",
    "lines_changed_in_time",
)


def ask_first(figures: pd.DataFrame) -> dict[str, Mapping[str, Any] | None]:
    """Give, for each group of wards, the share that is surest to fall short of 100 %.

    That whose upper 95 % limit is the lowest. Nothing is compared between groups, and
    nothing is said that the figures do not say.

    Parameters
    ----------
    figures : DataFrame
        Of a summary.

    Returns
    -------
    dict of str to mapping or None
        Its row, by group in alphabetical order; None where no share that may be shown
        has an upper limit under 100 %.
    """
    is_share = figures["measure"].isin(_SHARES) & (figures["shown"] == FIGURES)
    short = figures[is_share & (figures["high"] < 100)]
    first: dict[str, Mapping[str, Any] | None] = dict.fromkeys(
        sorted(set(figures["wards"]))
    )
    # Measures stand in one order in every group, so that equal limits always give one.
    ordered = short.sort_values("high", kind="stable").drop_duplicates("wards")
    first.update({row["wards"]: row for row in facts.rows_of(ordered)})
    return first


def is_silent(figures: pd.DataFrame, group: str) -> bool:
    """Say whether no share of a group may be shown.

    Parameters
    ----------
    figures : DataFrame
        Of a summary.
    group : str
        One of its groups.

    Returns
    -------
    bool
        True where every share is held back or has nothing judged.
    """
    own = figures[(figures["wards"] == group) & figures["measure"].isin(_SHARES)]
    return not (own["shown"] == FIGURES).any()


def has_interval(figures: pd.DataFrame, group: str) -> bool:
    """Say whether any share of a group that is shown has an interval.

    Parameters
    ----------
    figures : DataFrame
        Of a summary.
    group : str
        One of its groups.

    Returns
    -------
    bool
        False where there are too few patients for one: then nothing can be said of
        being short of 100 %.
    """
    own = figures[(figures["wards"] == group) & figures["measure"].isin(_SHARES)]
    return bool((own["high"].notna() & (own["shown"] == FIGURES)).any())
