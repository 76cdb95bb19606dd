"""Numbers of cannulas and extension sets that stand under several patients.

Where lines are numbered from one for each patient, as on paper charts (common practice,
no source), a number names a line only together with its patient. A line is in one
patient: a number that stands under several never means one line.
"""

import pandas as pd

from analysis.lookup import are_among
from analysis.terms import LineKind

#: Kind of line to its column of the check log, and what it is called in a sentence.
_OF_CHECKS = {
    LineKind.CANNULA: ("site_id", "cannulas"),
    LineKind.EXTENSION_SET: ("line_id", "extension sets"),
}


def part_lines(
    checks: pd.DataFrame, lines: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Name lines by patient and number where a number stands under several patients.

    Parameters
    ----------
    checks : DataFrame
        Accepted rows of the check log: patient_id, site_id, line_id.
    lines : DataFrame
        Accepted rows of the lines table: patient_id, line_id, kind.

    Returns
    -------
    checks, lines : DataFrame
        The same rows; each number that stands under several patients, in either
        table, is written with its patient before it. Other names stay, and so do
        blanks.
    notes : list of str
        A sentence for each kind of line that has such numbers.
    """
    notes = []
    for kind, (name, called) in _OF_CHECKS.items():
        is_kind = lines["kind"] == kind
        own = lines.loc[is_kind, ["patient_id", "line_id"]]
        shared = _shared(_pairs(checks, name), _pairs(own, "line_id"))
        if not len(shared):
            continue
        checks = checks.assign(**{name: _parted(checks, name, shared)})
        parted = _parted(own, "line_id", shared).reindex(lines.index)
        lines = lines.assign(line_id=parted.where(is_kind, lines["line_id"]))
        are = "ids of {} stand" if len(shared) > 1 else "id of {} stands"
        notes.append(
            f"{len(shared)} {are.format(called)} under several patients (first: "
            f"{shared[0]}): each patient's is a line of its own, named by patient and "
            "id; if one of the patients is a slip, mend it and run again."
        )
    return checks, lines, notes


def _pairs(rows: pd.DataFrame, name: str) -> pd.DataFrame:
    """Give each name with each of its patients, once."""
    names, known = pd.factorize(rows[name], use_na_sentinel=False)
    if not (known != "").any():
        return pd.DataFrame({"name": [], "patient": []}, dtype="str")
    patients, people = pd.factorize(rows["patient_id"], use_na_sentinel=False)
    # In one number for both: rows are many, and their texts slow to compare.
    both = pd.unique(names.astype("int64") * max(len(people), 1) + patients)
    at, whose = divmod(both, max(len(people), 1))
    return pd.DataFrame(
        {
            "name": pd.Series(known, dtype="str").take(at).array,
            "patient": pd.Series(people, dtype="str").take(whose).array,
        }
    )


def _shared(*pairs: pd.DataFrame) -> list[str]:
    every = pd.concat(pairs, ignore_index=True).drop_duplicates()
    every = every[every["name"] != ""]
    return sorted(every.loc[every["name"].duplicated(), "name"].unique())


def _parted(rows: pd.DataFrame, name: str, shared: list[str]) -> pd.Series:
    is_shared = are_among(rows[name], shared)
    named = rows.loc[is_shared, "patient_id"] + "/" + rows.loc[is_shared, name]
    out = rows[name].copy()
    out[is_shared] = named
    return out
