"""Reasons and qualifiers, counted by hand."""

import pandas as pd

from analysis.columns import REJECTED
from analysis.quality import account


def entry(source: str, reason: str, column: str = "When") -> dict[str, str]:
    return {
        "source": source,
        "column": column,
        "value": "x",
        "reason": reason,
        "sentence": f"{column} of {source}",
        "row": "x;y",
    }


def test_reasons_are_counted_with_the_first_of_each_as_example() -> None:
    ledger = pd.DataFrame(
        [
            entry("a.csv:3", "no time"),
            entry("a.csv:4", "no ward", "Ward"),
            entry("a.csv:5", "no time"),
            entry("b.csv:2", "no time", "Time"),
        ]
    )
    found = account.reasons(ledger)
    assert found[["cells", "column", "reason", "source"]].to_numpy().tolist() == [
        [2, "When", "no time", "a.csv:3"],
        [1, "Ward", "no ward", "a.csv:4"],
        [1, "Time", "no time", "b.csv:2"],
    ]
    assert found["sentence"].iloc[0] == "When of a.csv:3"
    assert found["cells"].sum() == len(ledger)


def test_qualifiers_are_counted_by_column_and_kind() -> None:
    rows = [
        ("a.csv:2", "volume_remaining_ml", "~13", "approximate"),
        ("a.csv:3", "volume_remaining_ml", "<1", "below"),
        ("a.csv:4", "volume_remaining_ml", "ca 8", "approximate"),
        ("a.csv:4", "battery_pct", "~90", "approximate"),
    ]
    names = ["source", "column", "value", "qualifier"]
    found = account.qualifiers(pd.DataFrame(rows, columns=pd.Index(names)))
    assert found.to_numpy().tolist() == [
        ["volume_remaining_ml", "approximate", 2, "a.csv:2", "~13"],
        ["volume_remaining_ml", "below", 1, "a.csv:3", "<1"],
        ["battery_pct", "approximate", 1, "a.csv:4", "~90"],
    ]


def test_nothing_to_count_gives_empty_tables_of_the_same_columns() -> None:
    nothing = pd.DataFrame(columns=REJECTED.names, dtype="str")
    assert account.reasons(nothing).columns.tolist() == account.REASONS
    none = pd.DataFrame(columns=["source", "column", "value", "qualifier"], dtype="str")
    assert account.qualifiers(none).columns.tolist() == account.QUALIFIERS
    assert len(account.reasons(nothing)) == len(account.qualifiers(none)) == 0
