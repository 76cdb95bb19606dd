"""Amounts of drug in a volume: the share of the syringe times what was charted."""

from collections.abc import Hashable
from pathlib import Path
from typing import Any

import pytest

from analysis.delivery.contents import (
    UNREADABLE,
    Drug,
    amounts_in_words,
    read_contents,
)
from tests.tiny import Row, audit, only, syringe


@pytest.mark.parametrize(
    ("text", "drugs"),
    [
        pytest.param("", (), id="nothing charted"),
        pytest.param("morphine 20 mg", (Drug("morphine", 20, "mg"),), id="one drug"),
        pytest.param(
            "morphine 20 mg; hyoscine butylbromide 60mg;",
            (Drug("morphine", 20, "mg"), Drug("hyoscine butylbromide", 60, "mg")),
            id="two drugs, a name of two words, no space before the unit",
        ),
        pytest.param(
            "octreotide 0,5 mg", (Drug("octreotide", 0.5, "mg"),), id="decimal comma"
        ),
        pytest.param("morphine", None, id="no amount is not readable"),
        pytest.param("morphine 20", None, id="no unit is not readable"),
        pytest.param("20 mg", None, id="no drug is not readable"),
        pytest.param(
            "morphine 20 mg; midazolam", None, id="half of it readable is not readable"
        ),
        pytest.param("morphine 10 20 mg", None, id="two amounts are not readable"),
    ],
)
def test_contents_are_read_whole_or_not_at_all(
    text: str, drugs: tuple[Drug, ...] | None
) -> None:
    assert read_contents(text) == drugs


@pytest.mark.parametrize(
    ("infusion", "said"),
    [
        pytest.param({"contents": ""}, "", id="no contents"),
        pytest.param(
            {"contents": "some of this"}, f" {UNREADABLE}", id="unreadable is said"
        ),
        pytest.param(
            {"contents": "morphine 20 mg"}, "", id="made up to what is unknown"
        ),
        pytest.param(
            {"contents": "morphine 20 mg", "start_volume_ml": 16.0},
            " That volume as charted, taken as made up to the start volume of 16 mL: "
            "morphine 5 mg (95 % interval 3.8 to 6.2, of 20 mg).",
            id="4 of 16 mL hold a quarter",
        ),
        pytest.param(
            {"contents": "morphine 20 mg", "start_volume_ml": 15, "made_up_to_ml": 16},
            " That volume as charted, made up to 16 mL: morphine 5 mg (95 % interval "
            "3.8 to 6.2, of 20 mg).",
            id="the volume before priming comes first",
        ),
        pytest.param(
            {"contents": "drug 5000 units", "start_volume_ml": 16.0},
            " That volume as charted, taken as made up to the start volume of 16 mL: "
            "drug 1200 units (95 % interval 940 to 1600, of 5000 units).",
            id="large numbers are written out",
        ),
    ],
)
def test_amounts_are_the_share_of_the_syringe(
    infusion: dict[Hashable, Any], said: str
) -> None:
    assert amounts_in_words(-4.0, (-5.0, -3.0), infusion) == said


def test_an_interval_that_reaches_over_zero_ends_at_zero() -> None:
    infusion: dict[Hashable, Any] = {"contents": "a 16 mg", "start_volume_ml": 16.0}
    said = amounts_in_words(1.0, (-0.5, 2.5), infusion)
    assert "a 1 mg (95 % interval 0 to 2.5, of 16 mg)" in said


def stalled() -> list[Row]:
    volumes = (16.0, 13.4, 10.6, 10.6, 10.6, 8.0, 5.6)
    hours = (0, 3.9, 8.1, 12, 16.2, 20, 23.6)
    return syringe(dict(zip(hours, volumes, strict=True)), entries={23.6: "end"})


def test_a_stall_says_the_amount_and_what_was_not_delivered(tmp_path: Path) -> None:
    described: Row = {
        "infusion_id": "I1",
        "ward": "Alder Ward",
        "patient_id": "P1",
        "start_volume_ml": 16.0,
        "made_up_to_ml": 16.5,
        "contents": "morphine 20 mg; midazolam 10 mg",
    }
    stall = only(audit(tmp_path, stalled(), infusions=[described]), "stall")
    share = -stall["volume_ml"] / 16.5
    assert f"morphine {20 * share:.2g} mg" in stall["sentence"]
    assert f"midazolam {10 * share:.2g} mg" in stall["sentence"]
    assert "Not delivered by the last reading" in stall["sentence"]


def test_without_contents_nothing_is_said_of_amounts(tmp_path: Path) -> None:
    assert "That volume" not in only(audit(tmp_path, stalled()), "stall")["sentence"]
