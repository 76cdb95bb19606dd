"""Explanations put into findings: one finding a reading, quoting what was charted."""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from analysis.delivery.sentences import SLIP
from analysis.intake import Log
from analysis.lookup import clock
from analysis.quality.suspects import DELIVERED, RATE, REMAINING, cells_of
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
    sentences = findings["sentence"].copy()
    added = []
    quoted = Quoted(log.checks, impossible)
    of_infusion = findings.groupby("infusion_id").indices
    wide = errors["name"].isin(_OF_INFUSION)
    places = errors[["row", "column"]].assign(wide=wide).drop_duplicates()
    for row, column, is_wide in places.itertuples(index=False, name=None):
        own = (errors["row"] == row) & (errors["column"] == column) & (wide == is_wide)
        said = errors.loc[own, "said"].tolist()
        cells = cells_of(log.checks, row)
        own_findings = findings.iloc[of_infusion.get(cells["infusion_id"], [])]
        has = _findings_of(own_findings, cells, column, is_wide=is_wide)
        if not has:
            quote = quoted.quote(row, column)
            added.append(_new_finding(cells, column, quote, said))
        for index in has:
            sentences[index] = _longer(
                sentences[index], findings.loc[index, "group"], said
            )
    return findings.assign(sentence=sentences), pd.DataFrame(added)


def _findings_of(
    own: pd.DataFrame,
    cells: Mapping[str, Any],
    column: str,
    *,
    is_wide: bool,
) -> list[int]:
    """Find what is about a reading already: a charting finding, a delivery finding.

    A delivery finding is about one reading where it rests on that alone. What is said
    of a whole infusion (`is_wide`) goes into its delivery finding alone if it has one.
    """
    at_row = own["first_source"] == cells["source"]
    kinds = _OF_RATE if column == RATE else _OF_ROW
    is_charted = at_row & own["kind"].isin(kinds)
    is_event = own["group"].eq(FindingGroup.DELIVERY)
    is_event |= own["kind"].eq(FindingKind.START_OFFSET)
    if not is_wide:
        is_event &= at_row & (own["last_source"] == cells["source"])
    elif is_event.any():
        is_charted &= is_event
    found: list[int] = own.index[is_charted | is_event].tolist()
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
        self._checks = checks
        self._impossible = impossible
        self._of_infusion = checks.groupby("infusion_id").indices

    def quote(self, row: int, column: str) -> str:
        """Give one charted value in words, with the readings before and after it."""
        cells = cells_of(self._checks, row)
        at = clock(cells["checked_at"])
        found = self._impossible
        own = found.loc[(found.index == row) & (found["column"] == column), "value"]
        value = own.iloc[0] if len(own) else cells.get(column)
        if column == RATE:
            return f"Rate {value:g} mL/h charted at {at}"
        beside = self._beside(row, cells, column if column in _NAMES else REMAINING)
        if column not in _NAMES:
            return f"Row charted at {at}{beside}"
        return f"{value:g} mL {_NAMES[column]} charted at {at}{beside}"

    def _beside(self, row: int, cells: Mapping[str, Any], column: str) -> str:
        own = self._checks.iloc[self._of_infusion[cells["infusion_id"]]]
        own = own[own[column].notna() & (own.index != row)]
        before = own[own["checked_at"] <= cells["checked_at"]].tail(1)
        after = own[own["checked_at"] > cells["checked_at"]].head(1)
        said = [
            f"{word} it {volume:g} mL at {clock(time)}"
            for word, one in (("before", before), ("after", after))
            for volume, time in zip(one[column], one["checked_at"], strict=True)
        ]
        return f" ({', '.join(said)})" if said else ""
