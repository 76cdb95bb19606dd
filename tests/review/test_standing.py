"""A decision changed later replaces the one before; an old list is no news."""

from pathlib import Path

import pandas as pd
import pytest

from analysis.review import (
    LIST_COLUMNS,
    no_decisions,
    put_to_what_stood,
    put_together,
    what_stood,
)
from tests.review.test_review import FOUND, MONTHS


class Folder:
    """A folder run into again and again, with the list it writes."""

    def __init__(self, path: Path) -> None:
        self.table = path / "decisions.csv"
        self.cell: str | None = None

    def run(self, own: str | None = None, **lists: str) -> pd.Series:
        """Run with decisions on finding A: in the folder's list, and in lists given."""
        cell = self.cell if own is None else own
        mine = rows("review.xlsx", cell) if cell is not None else no_decisions()
        given = [rows(f"{name}.xlsx", word) for name, word in lists.items()]
        put = put_to_what_stood(
            mine, pd.concat([no_decisions(), *given]), what_stood(self.table)
        )
        row = put_together(FOUND, put, MONTHS).decisions.iloc[0]
        row.to_frame().T.to_csv(self.table, index=False)
        self.cell = "" if pd.isna(row["decision"]) else str(row["decision"])
        return row


def rows(source: str, words: str) -> pd.DataFrame:
    table = pd.DataFrame({"finding_id": "A", "decision": words.split("|")})
    table = table.reindex(columns=[*LIST_COLUMNS, "source"], fill_value="")
    return table.assign(source=[f"{source}:{line + 2}" for line in range(len(table))])


C, X, U = "confirmed", "explained", "unclear"


@pytest.mark.parametrize(
    ("runs", "state", "decision", "before"),
    [
        pytest.param(
            [{"mine": C}, {"mine": X}],
            "decided",
            X,
            f"{C} (mine.xlsx:2)",
            id="a decision changed in one's own copy replaces the one carried over",
        ),
        pytest.param(
            [{"mine": C}, {"mine": X}, {"mine": C}],
            "decided",
            C,
            f"{X} (mine.xlsx:2)",
            id="and may be changed back",
        ),
        pytest.param(
            [{"mine": C}, {"mine": X}, {"mine": X}],
            "decided",
            X,
            f"{C} (mine.xlsx:2)",
            id="a list given again unchanged keeps what it replaced",
        ),
        pytest.param(
            [{"last": U}, {"own": C, "last": U}],
            "decided",
            C,
            f"{U} (last.xlsx:2)",
            id="the folder's list edited, last month's given again as it was",
        ),
        pytest.param(
            [{"last": U}, {"own": C, "last": U}, {"last": U}, {"last": U}],
            "decided",
            C,
            f"{U} (last.xlsx:2)",
            id="an old list never takes an edited decision back",
        ),
        pytest.param(
            [{"last": U}, {"own": C, "last": X}],
            "contradicting",
            None,
            f"{U} (last.xlsx:2)",
            id="both changed, and differently",
        ),
        pytest.param(
            [{"mine": C, "theirs": X}, {}, {"theirs": X}, {"mine": C}],
            "contradicting",
            None,
            None,
            id="a contradiction is not settled by giving one of its lists again",
        ),
        pytest.param(
            [{"mine": C, "theirs": X}, {"mine": X, "theirs": X}],
            "decided",
            X,
            f"{C} (mine.xlsx:2); {X} (theirs.xlsx:2)",
            id="a contradiction ends when one of the two is changed",
        ),
        pytest.param(
            [{"mine": C, "theirs": X}, {"own": X}, {"mine": C, "theirs": X}],
            "decided",
            X,
            f"{C} (mine.xlsx:2); {X} (theirs.xlsx:2)",
            id="or when one is chosen in the folder's list",
        ),
        pytest.param(
            [{"mine": C}, {"theirs": X}],
            "decided",
            X,
            f"{C} (mine.xlsx:2)",
            id="another list, a run later, replaces it and says so",
        ),
        pytest.param(
            [{"mine": C}, {"own": ""}, {"mine": C}],
            "open",
            None,
            f"{C} (mine.xlsx:2)",
            id="a cell emptied in the folder's list takes the decision back",
        ),
        pytest.param(
            [{"mine": C}, {"mine": ""}],
            "decided",
            C,
            None,
            id="a blank in a list given takes nothing back",
        ),
        pytest.param(
            [{"mine": f"{C}|{U}"}, {"mine": f"{C}|{U}"}],
            "contradicting",
            None,
            None,
            id="a list that contradicts itself, given twice",
        ),
        pytest.param(
            [{"mine": C}, {"own": C, "mine": C}],
            "decided",
            C,
            None,
            id="nothing changed",
        ),
    ],
)
def test_what_counts_after_several_runs(
    runs: list[dict[str, str]],
    state: str,
    decision: str | None,
    before: str | None,
    tmp_path: Path,
) -> None:
    folder = Folder(tmp_path)
    for lists in runs:
        row = folder.run(**lists)
    assert row["state"] == state
    assert row["decision"] == decision or (
        decision is None and pd.isna(row["decision"])
    )
    assert row["before"] == before or (before is None and pd.isna(row["before"]))


def test_a_row_deleted_from_the_list_takes_nothing_back(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    folder.run(mine=C)
    folder.cell = None
    assert folder.run()["decision"] == C


def test_a_table_of_another_version_tells_nothing(tmp_path: Path) -> None:
    pd.DataFrame({"finding_id": ["A"], "decision": [C]}).to_csv(
        tmp_path / "decisions.csv", index=False
    )
    assert what_stood(tmp_path / "decisions.csv").empty
    assert what_stood(tmp_path / "none.csv").empty


def test_notes_do_not_grow_from_run_to_run() -> None:
    lists = pd.concat(
        [
            rows("a.csv", C).assign(note="two decisions: x; asked the ward"),
            rows("b.csv", C).assign(note="asked the ward"),
            rows("c.csv", C).assign(note="ward"),
        ]
    )
    note = put_together(FOUND, lists, MONTHS).decisions.loc[0, "note"]
    assert note == "two decisions: x; asked the ward; ward"
