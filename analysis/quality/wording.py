"""Explanations put into findings: one finding a reading, quoting what was charted."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from analysis.delivery.charting import SLIP
from analysis.intake import Log
from analysis.lookup import clock
from analysis.quality.rows import DELIVERED, RATE, REMAINING, Rows
from analysis.terms import EntryError, FindingGroup, FindingKind

#: Findings that are about one row already, by the column that they are about.
_OF_RATE = frozenset({FindingKind.DOUBTFUL_RATE})
_OF_ROW = frozenset(
    {
        FindingKind.DOUBTFUL_READING,
        FindingKind.VOLUMES_DISAGREE,
        FindingKind.ROW_AFTER_END,
    }
)
_OF_INFUSION = frozenset(
    {EntryError.NOMINAL_SIZE, EntryError.RATE_PER_24_H, EntryError.SWAPPED_COLUMN}
)
_NOTHING = np.array([], dtype="int64")
_NAMES = {REMAINING: "remaining", DELIVERED: "delivered"}


def put_into_findings(
    findings: pd.DataFrame, errors: pd.DataFrame, log: Log, impossible: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Add explanations to the findings that have the reading; make findings of others.

    Parameters
    ----------
    findings : DataFrame
        Findings of the stages before, without id.
    errors : DataFrame
        As given by `entry_errors`.
    log : Log
        Canonical tables.
    impossible : DataFrame
        As given by `impossible_numbers`, for values that are not in the tables.

    Returns
    -------
    findings, added : DataFrame
        The same findings, some with a longer sentence; and new charting findings.
    """
    sentences = findings["sentence"].tolist()
    groups = findings["group"].tolist()
    added = []
    rows, quoted = Rows(log.checks), Quoted(log.checks, impossible)
    known = _Known(findings)
    wide = errors["name"].isin(_OF_INFUSION)
    by = errors["said"].groupby([errors["row"], errors["column"], wide], sort=False)
    told_of: dict[tuple[int, str, bool], list[str]] = by.agg(list).to_dict()  # type: ignore[assignment]
    for (row, column, is_wide), said in told_of.items():
        cells = rows.cells(row)
        has = known.about(cells, column, is_wide=is_wide)
        if not has:
            quote = quoted.quote(row, column)
            added.append(_new_finding(cells, column, quote, said))
        for place in has:
            sentences[place] = _longer(sentences[place], groups[place], said)
    told = pd.Series(sentences, index=findings.index, dtype="str")
    return findings.assign(sentence=told), pd.DataFrame(added)


class _Known:
    """What earlier findings are about."""

    def __init__(self, findings: pd.DataFrame) -> None:
        self._of_infusion = findings.groupby("infusion_id").indices
        self._first = findings["first_source"].to_numpy()
        self._last = findings["last_source"].to_numpy()
        kind = findings["kind"]
        self._is_of_rate = kind.isin(_OF_RATE).to_numpy()
        self._is_of_row = kind.isin(_OF_ROW).to_numpy()
        is_event = findings["group"].eq(FindingGroup.DELIVERY)
        is_event |= kind.eq(FindingKind.START_OFFSET)
        self._is_event = is_event.to_numpy(bool)

    def about(
        self, cells: Mapping[str, Any], column: str, *, is_wide: bool
    ) -> list[int]:
        """Find what is about a reading already: a charting or a delivery finding.

        A delivery finding is about one reading where it rests on that alone. What is
        said of a whole infusion (`is_wide`) goes into its delivery finding alone if it
        has one.
        """
        own = self._of_infusion.get(cells["infusion_id"], _NOTHING)
        at_row = self._first[own] == cells["source"]
        of_kind = self._is_of_rate if column == RATE else self._is_of_row
        is_charted = at_row & of_kind[own]
        is_event = self._is_event[own]
        if not is_wide:
            is_event = is_event & at_row & (self._last[own] == cells["source"])
        elif is_event.any():
            is_charted &= is_event
        found: list[int] = own[is_charted | is_event].tolist()
        return found


def _longer(sentence: str, group: object, said: Sequence[str]) -> str:
    words = _joined(said)
    if group in (FindingGroup.DELIVERY, FindingGroup.SET_UP):
        return f"{sentence} An entry error would fit as well: {words}."
    if sentence.endswith(f"{SLIP}."):
        return f"{sentence[:-1]}: {words}."
    return f"{sentence} Consistent with an entry error: {words}."


def _joined(said: Sequence[str]) -> str:
    return "; as well with ".join(said)


def _new_finding(
    cells: Mapping[str, Any], column: str, quote: str, said: Sequence[str]
) -> dict[str, object]:
    at = cells["checked_at"]
    return {
        "ward": cells["ward"],
        "patient_id": cells["patient_id"],
        "infusion_id": cells["infusion_id"],
        "driver_id": cells["driver_id"],
        "group": str(FindingGroup.CHARTING),
        "kind": str(FindingKind.ENTRY_ERROR),
        "anchor": f"{at.tz_convert('UTC').isoformat()} {column}",
        "happened_at": at,
        "first_visible": at,
        "first_source": cells["source"],
        "last_source": cells["source"],
        "sentence": (
            f"{quote}. Consistent with an entry error: {_joined(said)}. It stands as "
            "charted."
        ),
    }


class Quoted:
    """Quotes what was charted, and the readings beside it.

    Parameters
    ----------
    checks : DataFrame
        Accepted rows in order of time.
    impossible : DataFrame
        As given by `impossible_numbers`.
    """

    def __init__(self, checks: pd.DataFrame, impossible: pd.DataFrame) -> None:
        self._rows = Rows(checks)
        self._of_infusion = checks.groupby("infusion_id").indices
        self._times = checks["checked_at"].array
        self._volumes = {name: checks[name].to_numpy(float) for name in _NAMES}
        self._place = checks.index.get_loc
        places = zip(impossible.index, impossible["column"], strict=True)
        self._impossible = dict(zip(places, impossible["value"], strict=True))

    def quote(self, row: int, column: str) -> str:
        """Give one charted value in words, with the readings before and after it.

        Parameters
        ----------
        row : int
            Index of the row in the check log.
        column : str
            Column of the value.

        Returns
        -------
        str
            For a sentence.
        """
        cells = self._rows.cells(row)
        at = clock(cells["checked_at"])
        value = self._impossible.get((row, column), cells.get(column))
        if column == RATE:
            return f"Rate {value:g} mL/h charted at {at}"
        beside = self._beside(row, cells, column if column in _NAMES else REMAINING)
        if column not in _NAMES:
            return f"Row charted at {at}{beside}"
        return f"{value:g} mL {_NAMES[column]} charted at {at}{beside}"

    def _beside(self, row: int, cells: Mapping[str, Any], column: str) -> str:
        """Give the readings before and after a row: rows are in order of time."""
        own = self._of_infusion[cells["infusion_id"]]
        volumes = self._volumes[column]
        own = own[~np.isnan(volumes[own]) & (own != self._place(row))]
        later = [self._times[place] > cells["checked_at"] for place in own]
        after = later.index(True) if True in later else len(later)
        said = [
            f"{word} it {volumes[place]:g} mL at {clock(self._times[place])}"
            for word, some in (("before", own[:after][-1:]), ("after", own[after:][:1]))
            for place in some
        ]
        return f" ({', '.join(said)})" if said else ""
