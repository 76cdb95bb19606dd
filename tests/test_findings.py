"""Findings of all stages in one table: ids that stay, and an order."""

from typing import Any

import pandas as pd
import pytest

from analysis.findings import collect_findings

AT = pd.Timestamp("2026-06-01T14:00", tz="Europe/London")


def finding(source: str, sentence: str, **cells: Any) -> dict[str, Any]:
    return {
        "ward": "Alder Ward",
        "patient_id": "P1",
        "infusion_id": "I1",
        "group": "charting",
        "kind": "row_after_end",
        "anchor": "2026-06-01T13:00:00+00:00 checked_at",
        "happened_at": AT,
        "first_source": source,
        "last_source": source,
        "sentence": sentence,
        **cells,
    }


def ids_by_source(*rows: dict[str, Any]) -> dict[str, str]:
    found = collect_findings([pd.DataFrame(list(rows))])
    return dict(zip(found["first_source"], found["finding_id"], strict=True))


TWO = (finding("checks.csv:9", "B."), finding("checks.csv:10", "A."))


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param(TWO[::-1], id="given in another order"),
        pytest.param(
            (finding("checks.csv:9", "A."), finding("checks.csv:10", "B.")),
            id="worded so that their sentences sort the other way",
        ),
        pytest.param(
            (*TWO, finding("checks.csv:2", "C.", infusion_id="I2")),
            id="beside one of another infusion",
        ),
    ],
)
def test_what_shares_a_moment_keeps_its_id(rows: tuple[dict[str, Any], ...]) -> None:
    before, after = ids_by_source(*TWO), ids_by_source(*rows)
    assert len(set(before.values())) == 2
    assert {source: after[source] for source in before} == before


def test_lines_are_counted_as_numbers_and_not_as_text() -> None:
    # As text checks.csv:10 would come before checks.csv:9 and take the plain id.
    alone = ids_by_source(TWO[0])
    assert ids_by_source(*TWO)["checks.csv:9"] == alone["checks.csv:9"]


def test_no_finding_at_all_is_an_empty_table() -> None:
    assert collect_findings([pd.DataFrame(), pd.DataFrame()]).empty
