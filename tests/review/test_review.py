"""Decisions come back to their findings; none is dropped, guessed or counted twice."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.columns import DECISIONS, FINDINGS, UNMATCHED
from analysis.errors import InputError
from analysis.review import (
    LIST_COLUMNS,
    Review,
    flags_by_month,
    no_decisions,
    put_together,
    read_decisions,
    shares_confirmed,
)

MONTHS = ("2026-09", "2026-10")


def findings(**kinds: str) -> pd.DataFrame:
    """Make findings by id; a text "group month p" each."""
    rows = []
    for finding_id, said in kinds.items():
        group, month, probability = said.split()
        rows.append(
            {
                "finding_id": finding_id,
                "month": month,
                "ward": "Alder ward",
                "infusion_id": f"I-{finding_id}",
                "group": group,
                "kind": "stall",
                "event_probability": float(probability),
            }
        )
    return pd.DataFrame(rows, columns=pd.Index(FINDINGS.names))


FOUND = findings(
    A="delivery 2026-10 0.9",
    B="delivery 2026-10 0.8",
    C="delivery 2026-10 0.6",
    D="check 2026-10 nan",
)


def given(
    *rows: tuple[str, str], source: str = "a.csv", **columns: str
) -> pd.DataFrame:
    """Make rows of a working list: finding_id and decision."""
    table = pd.DataFrame(rows, columns=pd.Index(["finding_id", "decision"]))
    table = table.reindex(columns=[*LIST_COLUMNS, "source"], fill_value="")
    table["source"] = [f"{source}:{line}" for line in range(2, len(table) + 2)]
    return table.assign(**columns)


def states(review: Review) -> dict[str, str]:
    return dict(
        zip(review.decisions["finding_id"], review.decisions["state"], strict=True)
    )


@pytest.mark.parametrize(
    ("lists", "wanted"),
    [
        pytest.param([], "new new new new", id="with no list all are new"),
        pytest.param(
            [given(("A", "confirmed"), ("B", ""))],
            "decided open new new",
            id="decided, listed without a decision, and not listed",
        ),
        pytest.param(
            [given(("A", "confirmed")), given(("A", "confirmed"), source="b.csv")],
            "decided new new new",
            id="two lists that agree",
        ),
        pytest.param(
            [given(("A", "confirmed")), given(("A", "explained"), source="b.csv")],
            "contradicting new new new",
            id="two lists that contradict",
        ),
        pytest.param(
            [given(("A", "confirmed"), ("A", "unclear"))],
            "contradicting new new new",
            id="one list that contradicts itself",
        ),
        pytest.param(
            [given(("A", "")), given(("A", "unclear"), source="b.csv")],
            "decided new new new",
            id="an empty cell contradicts nothing",
        ),
    ],
)
def test_state_of_each_finding(lists: list[pd.DataFrame], wanted: str) -> None:
    read = pd.concat([no_decisions(), *lists], ignore_index=True)
    review = put_together(FOUND, read, MONTHS)
    assert list(states(review).values()) == wanted.split()
    assert list(review.decisions.columns) == DECISIONS.names
    assert list(review.unmatched.columns) == UNMATCHED.names


def test_a_contradiction_tells_both_and_decides_nothing() -> None:
    read = pd.concat(
        [given(("A", "confirmed")), given(("A", "explained"), source="b.csv")]
    )
    row = put_together(FOUND, read, MONTHS).decisions.iloc[0]
    assert row["said"] == "confirmed (a.csv:2); explained (b.csv:2)"
    assert pd.isna(row["decision"])


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        pytest.param(
            given(("GONE", "confirmed"), month="2026-10"),
            "this log gives no such finding",
            id="the month is in the log, the finding is not",
        ),
        pytest.param(
            given(("OLD", "explained"), month="2026-05"),
            "its month is not in this log",
            id="a list of months ago",
        ),
        pytest.param(
            given(("NOTE", ""), month="2026-10", note="ask again"),
            "this log gives no such finding",
            id="a note alone is kept too",
        ),
    ],
)
def test_a_decision_without_a_finding_is_listed(row: pd.DataFrame, reason: str) -> None:
    review = put_together(FOUND, row, MONTHS)
    assert review.unmatched["reason"].tolist() == [reason]
    assert set(states(review).values()) == {"new"}


def test_every_decision_given_is_somewhere() -> None:
    words = ("confirmed", "charting error", "explained", "unclear", "")
    rng = np.random.default_rng(5)
    rows = [(name, str(rng.choice(words))) for name in "ABCDEFGHIJ" for _ in range(3)]
    review = put_together(FOUND, given(*rows, month="2026-10"), MONTHS)
    decided = {(name, word) for name, word in rows if word}
    kept = {
        (row.finding_id, word)
        for row in review.decisions.itertuples()
        for word in words[:-1]
        if word in (row.decision, *str(row.said).replace(" (", ";").split(";"))
        or f" {word} (" in f" {row.said}"
    }
    kept |= set(
        review.unmatched[["finding_id", "decision"]].itertuples(index=False, name=None)
    )
    assert decided <= kept


def test_share_confirmed_has_wilsons_interval() -> None:
    # Newcombe RG (1998) Stat Med 17:857-872, table I: 15 of 148 gives 0.0624 to 0.1605.
    many = findings(**{f"F{i}": "delivery 2026-10 0.9" for i in range(150)})
    rows = [
        (f"F{i}", "confirmed" if i < 15 else "explained" if i < 148 else "unclear")
        for i in range(150)
    ]
    shares = shares_confirmed(put_together(many, given(*rows), MONTHS))
    last = shares.iloc[-1]
    assert last["group"] == "all"
    assert (last["confirmed"], last["explained"], last["unclear"]) == (15, 133, 2)
    assert last["low"] == pytest.approx(0.0624, abs=5e-5)
    assert last["high"] == pytest.approx(0.1605, abs=5e-5)


def test_nothing_decided_gives_no_share() -> None:
    shares = shares_confirmed(put_together(FOUND, no_decisions(), MONTHS))
    assert shares["share"].isna().all()
    assert shares["listed"].tolist() == [3, 1, 4]


def test_false_flags_stand_beside_both_promises() -> None:
    rows = given(
        ("A", "confirmed"),
        ("B", "charting error"),
        ("C", "explained"),
        ("D", "explained"),  # no delivery finding: no false flag
        month="2026-10",
    )
    before = given(
        ("OLD", "explained"),
        month="2026-05",
        group="delivery",
        probability="0.700",
        source="b.csv",
    )
    infusions = pd.DataFrame(
        {"month": ["2026-10"] * 200 + ["2026-09"] * 50, "evaluable": "yes"}
    )
    review = put_together(FOUND, pd.concat([rows, before]), MONTHS)
    flags = flags_by_month(review, infusions, 10.0).set_index("month")
    assert flags.loc["2026-10", "false"] == 2
    assert flags.loc["2026-10", "by_threshold"] == pytest.approx(2.0)
    assert flags.loc["2026-10", "by_list"] == pytest.approx(0.1 + 0.2 + 0.4)
    assert flags["by_threshold"].isna()["2026-05"]
    assert flags.loc["all", "false"] == 3
    assert flags.loc["all", "by_list"] == pytest.approx(1.0)


def write(folder: Path, text: str, name: str = "review.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "says"),
    [
        pytest.param(
            "a,b\n1,2\n",
            "no column finding_id and no column decision",
            id="other headers",
        ),
        pytest.param(
            "finding_id,decision\nA,maybe\n",
            "row 2: 'maybe' is no decision; choose one of: confirmed",
            id="an unknown decision",
        ),
        pytest.param(
            "finding_id,decision\nA,confirmed\n,explained\n",
            "row 3: has a decision or a note and no finding_id",
            id="an id is missing",
        ),
        pytest.param(
            "finding_id,decision,mine\nA,confirmed,call back\n",
            "column 'mine' of its own",
            id="a column that would be lost",
        ),
        pytest.param("", "empty", id="an empty file"),
        pytest.param(
            'finding_id,decision\n"=A1 in A2, saved without its value",confirmed\n',
            "row 2: finding_id is a formula without a value",
            id="a formula in place of an id",
        ),
    ],
)
def test_a_bad_list_ends_in_one_sentence(tmp_path: Path, text: str, says: str) -> None:
    path = write(tmp_path, text)
    with pytest.raises(InputError, match=says) as caught:
        read_decisions([path])
    assert "\n" not in str(caught.value)


def test_an_id_in_small_letters_is_the_same_id(tmp_path: Path) -> None:
    path = write(tmp_path, "finding_id,decision\n abc2 , Confirmed \n")
    assert read_decisions([path])["finding_id"].tolist() == ["ABC2"]


@pytest.mark.parametrize("lock", ["~$review.csv", ".~lock.review.csv#"])
def test_a_list_that_is_open_elsewhere_is_not_read(tmp_path: Path, lock: str) -> None:
    path = write(tmp_path, "finding_id,decision\nA,confirmed\n")
    write(tmp_path, "", lock)
    with pytest.raises(InputError, match="close it and run again"):
        read_decisions([path])


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("finding_id;decision;note\nA;Confirmed;'=1+1\n", id="semicolons"),
        pytest.param(
            "note,decision,finding_id\n'=1+1, CONFIRMED ,A\n", id="order and case"
        ),
        pytest.param(
            "\ufefffinding_id\tdecision\tnote\nA\tconfirmed\t'=1+1\n",
            id="tabs and a mark",
        ),
    ],
)
def test_a_list_as_spreadsheets_save_it(tmp_path: Path, text: str) -> None:
    read = read_decisions([write(tmp_path, text)])
    assert read[["finding_id", "decision", "note"]].iloc[0].tolist() == [
        "A",
        "confirmed",
        "=1+1",
    ]
