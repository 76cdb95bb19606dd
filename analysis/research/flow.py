"""From the rows read to the sites studied: how many are kept, and why not all."""

import pandas as pd

from analysis.columns import CHECKS
from analysis.intake import Log
from analysis.sites.episodes import Courses
from analysis.terms import Exclusion, SiteEnd

_ACCOUNT = {
    "rejected": "could not be placed: no readable time, ward or patient, or broken",
    "superseded": "replaced by an amendment",
    "exact_duplicates": "exact duplicates",
}
_BESIDE = "rows of infusions and of lines: read beside the check log"
_READ = "read the exports"
_ASSIGN = "assign rows of the check log to sites"
_JUDGE = "judge sites by the policy's definition"
_DATE = "know when they were placed, for curves and regression"
_ALL = "all"


def flow_table(
    log: Log, rows: pd.DataFrame, courses: Courses, episodes: pd.DataFrame
) -> pd.DataFrame:
    """Account for every row and every site.

    Parameters
    ----------
    log : Log
        Canonical tables.
    rows : DataFrame
        As given by `rows_of_sites`.
    courses : Courses
        As given by `site_courses`.
    episodes : DataFrame
        As given by `site_episodes`.

    Returns
    -------
    DataFrame
        One row a reason: unit, step, reason, dropped, kept. Within a step what is kept
        is what was there less all dropped so far; a step begins with all there are.
    """
    account = log.account[["rows_read", *_ACCOUNT]].sum()
    read = [(_ACCOUNT[name], int(account[name])) for name in _ACCOUNT]
    is_beside = log.account["table"] != CHECKS.name
    read.append((_BESIDE, int(log.account.loc[is_beside, "accepted"].sum())))
    assigned = [
        (
            "say nothing of a site, or may be of several",
            len(log.checks) - len(rows),
        ),
        (
            "later than the removal charted for their site",
            len(rows) - len(courses.looks),
        ),
    ]
    reasons = episodes["exclusion"]
    judged = [
        (str(each), int((reasons == each).sum()))
        for each in Exclusion
        if (reasons == each).any()
    ]
    at_risk = episodes[reasons == ""]
    dated = [("placement not known", int(at_risk["placed_at"].isna().sum()))]
    steps = [
        *_step("rows", _READ, int(account["rows_read"]), read),
        *_step("rows", _ASSIGN, len(log.checks), assigned),
        *_step("sites", _JUDGE, len(episodes), judged),
        *_step("sites", _DATE, len(at_risk), dated),
    ]
    names = pd.Index(["unit", "step", "reason", "dropped", "kept"])
    return pd.DataFrame(steps, columns=names)


def _step(
    unit: str, step: str, there: int, dropped: list[tuple[str, int]]
) -> list[tuple[str, str, str, int, int]]:
    found = [(unit, step, _ALL, 0, there)]
    for reason, count in dropped:
        there -= count
        found.append((unit, step, reason, count, there))
    return found


def ends_table(episodes: pd.DataFrame) -> pd.DataFrame:
    """Count how the watching of the sites at risk ended.

    Parameters
    ----------
    episodes : DataFrame
        As given by `site_episodes`.

    Returns
    -------
    DataFrame
        The ``ends`` table: one row a `SiteEnd`, in its order, those without a site
        too. The gap is from when a site was last known to have had no reaction to its
        end [h]; sites never known to have had none are counted and have no gap.
    """
    own = episodes[episodes["exclusion"] == ""]
    watched = (own["ends_at"] - own["starts_at"]).dt.total_seconds() / 86400
    gap = (own["ends_at"] - own["clear_at"]).dt.total_seconds() / 3600
    not_placed = own["placed_at"].isna()
    each = own.assign(
        days=watched,
        gap=gap,
        silent=gap.isna(),
        not_placed=not_placed,
        late=own["is_left_truncated"] & ~not_placed,
    ).groupby("end")
    out = each.agg(
        sites=("end", "size"),
        late=("late", "sum"),
        not_placed=("not_placed", "sum"),
        exposure_days=("days", "sum"),
        never_clear=("silent", "sum"),
        median_gap_h=("gap", "median"),
        longest_gap_h=("gap", "max"),
    ).reindex([str(end) for end in SiteEnd])
    counts = ["sites", "late", "not_placed", "never_clear"]
    out[counts] = out[counts].fillna(0).astype("int64")
    out["exposure_days"] = out["exposure_days"].fillna(0.0)
    return out.rename_axis("end").reset_index()
