"""Findings of checks: gaps in which some were missed, and rows that may be theirs."""

import pandas as pd

from analysis.compliance.coded import as_texts
from analysis.intake import Log
from analysis.lookup import are_among, by_key, clocks, iso_times
from analysis.terms import CheckOutcome, FindingGroup, FindingKind


def check_findings(units: pd.DataFrame, gaps: pd.DataFrame, log: Log) -> pd.DataFrame:
    """Give one finding for each gap in which checks were missed.

    Parameters
    ----------
    units : DataFrame
        Units of `checks_on_time`.
    gaps : DataFrame
        As given by `gaps_between_checks`.
    log : Log
        Gives the driver, and rows that could not be placed.

    Returns
    -------
    DataFrame
        Findings without id and month; named by the first check that was missed, with
        the hours of the gap. A row of the infusion, or of the patient without an
        infusion, that could not be placed and lies in the gap is named.
    """
    missed = units.loc[units["outcome"] == CheckOutcome.MISSED]
    # A gap is known by the row it begins at.
    by = missed["due_at"].groupby(missed["first_source"].cat.codes)
    due = by.agg(["min", "max", "size"])
    begins = gaps["first_source"].cat.codes
    is_told = begins.isin(due.index) & (gaps["exclusion"] == "")
    found = gaps[is_told].join(due.loc[begins[is_told]].set_axis(gaps.index[is_told]))
    driver = by_key(found["infusion_id"], log.infusions["driver_id"])
    found = as_texts(found[_TOLD])
    seen = _unplaced_in(found, log.unplaced)
    return pd.DataFrame(
        {
            "ward": found["ward"],
            "patient_id": found["patient_id"],
            "infusion_id": found["infusion_id"],
            "driver_id": driver.astype("str"),
            "group": str(FindingGroup.CHECK),
            "kind": str(FindingKind.CHECK_MISSED),
            "anchor": iso_times(found["min"]),
            "happened_at": found["min"],
            "began_earliest": found["min"],
            "ended_latest": found["to_at"],
            "hours_equivalent": found["seconds"] / 3600,
            "first_source": found["first_source"],
            "last_source": found["last_source"],
            "sentence": "No check is charted near " + _which(found) + "." + seen,
        }
    )


_TOLD = [
    "infusion_id",
    "patient_id",
    "ward",
    "from_at",
    "to_at",
    "seconds",
    "first_source",
    "last_source",
    "min",
    "max",
    "size",
]


def _which(gaps: pd.DataFrame) -> pd.Series:
    """Say which checks are missing."""
    first, last = clocks(gaps["min"]), clocks(gaps["max"])
    several = "the " + gaps["size"].astype("str") + " due from " + first + " to " + last
    return ("the one due " + first).mask(gaps["size"] > 1, several)


def _unplaced_in(gaps: pd.DataFrame, unplaced: pd.DataFrame) -> pd.Series:
    """Name, for each gap, rows that could not be placed and lie in it; else empty.

    One whose time cannot be read may lie in it if it stands between the two in the
    file.
    """
    none = pd.Series("", index=gaps.index, dtype="str")
    if not len(unplaced):
        return none
    named = unplaced["infusion_id"] != ""
    near = are_among(gaps["infusion_id"], unplaced.loc[named, "infusion_id"])
    near |= are_among(gaps["patient_id"], unplaced.loc[~named, "patient_id"])
    if not near.any():
        return none
    gaps = gaps[near]
    names = ["infusion_id", "patient_id", "from_at", "to_at"]
    place = gaps.reset_index(names="gap")
    place = place[["gap", *names, "first_source", "last_source"]]
    columns = ["checked_at", "source"]
    pairs = pd.concat(
        [
            place.merge(unplaced[named][["infusion_id", *columns]]),
            place.merge(unplaced[~named][["patient_id", *columns]]),
        ],
        ignore_index=True,
    )
    if not len(pairs):
        return none
    pairs["is_timed"] = pairs["checked_at"].notna()
    inside = pairs[
        (pairs["from_at"] <= pairs["checked_at"])
        & (pairs["checked_at"] <= pairs["to_at"])
    ]
    untimed = pairs[~pairs["is_timed"]]
    found = pd.concat([inside, untimed[_stands_between(untimed)]]).sort_index()
    if not len(found):
        return none
    by = found.sort_values("source", kind="stable").groupby(["gap", "is_timed"])
    said = by["source"].agg(", ".join).rename("source").reset_index()
    said["words"] = [
        _unplaced_sentence(sources, is_timed=timed)
        for sources, timed in zip(said["source"], said["is_timed"], strict=True)
    ]
    by_gap = said.sort_values(["gap", "is_timed"], ascending=[True, False])
    words: pd.Series = by_gap.groupby("gap")["words"].agg("".join)
    return words.reindex(none.index).fillna("").astype("str")


def _stands_between(pairs: pd.DataFrame) -> pd.Series:
    """Tell whether a row stands between the two rows of a gap in their file.

    After its last row where no row closes the gap.
    """
    if not len(pairs):
        return pd.Series(data=False, index=pairs.index)
    file, line = {}, {}
    for name in ("first_source", "source", "last_source"):
        parts = pairs[name].str.rpartition(":")
        file[name], line[name] = parts[0], pd.to_numeric(parts[2])
    is_open = pairs["last_source"] == pairs["first_source"]
    same = (file["source"] == file["first_source"]) & (
        file["source"] == file["last_source"]
    )
    before = (line["source"] < line["last_source"]) | is_open
    between: pd.Series = same & before & (line["source"] > line["first_source"])
    return between


def _unplaced_sentence(sources: str, *, is_timed: bool) -> str:
    one = ", " not in sources
    said = "A row" if one else "Rows"
    if is_timed:
        lie = "lies" if one else "lie"
        return f" {said} that could not be placed, {sources}, {lie} in this gap."
    return f" {said} whose time cannot be read, {sources}, may lie in this gap."
