"""What an export leaves open in ways that were once read in silence: asked, or refused.

Every service, ward, person and number here is invented.
"""

from pathlib import Path

import pytest

from analysis.errors import InputError, LayoutError
from analysis.intake import Log
from tests.intake.exports import printed, read, write

COMMAS = """\
Ward,Patient,Checked at,Rate ml/h,Volume left,Battery,Note
Amber,K1,14/09/2026 08:00,0,6,16,98,
Amber,K1,14/09/2026 12:00,0,6,13,90,
Amber,K1,14/09/2026 16:00,0,6,11,85,
"""
LOW_CHANGES = """\
Team,Patient,Driver,Visited,Visit type,ml left,Rate ml/h
North,K1,SD1,14/09/2026 09:00,Set up,16,0.65
North,K1,SD1,14/09/2026 17:00,Visit,10.7,0.65
North,K1,SD1,15/09/2026 09:10,Syringe change,0.5,0.65
North,K1,SD1,15/09/2026 17:10,Visit,10.6,0.65
North,K1,SD1,16/09/2026 09:05,Syringe change,0.6,0.65
North,K1,SD1,16/09/2026 17:05,Visit,10.7,0.65
North,K1,SD1,17/09/2026 09:00,Take down,0.4,0.65
"""
OWN_WORDS = """\
Ward,Patient,Driver,Checked at,Event,Rate ml/h,Volume left,Site condition
Amber,K1,SD1,14/09/2026 08:00,alpha,0.6,16,gamma
Amber,K1,SD1,14/09/2026 12:00,beta,0.6,13.6,gamma
Amber,K1,SD1,14/09/2026 16:00,beta,0.6,11.2,delta
"""
ASKED = [
    pytest.param(
        COMMAS,
        "0 and 6 under Rate ml/h and Volume left are 0,6 parted by its comma",
        id="a decimal comma without quotes in every row",
    ),
    pytest.param(
        LOW_CHANGES,
        "ml left is 0.5 mL at 'Syringe change' and low at 2 of 2 such rows",
        id="what the old syringe had left at its change",
    ),
    pytest.param(OWN_WORDS, "Event reads 'alpha' on 1 rows", id="words of entries"),
    pytest.param(
        OWN_WORDS,
        r"Site condition reads 'gamma' \(2\), 'delta' \(1\), of which none is known",
        id="words of a site",
    ),
]


@pytest.mark.parametrize(("text", "says"), ASKED)
def test_it_is_asked(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        read(tmp_path, {"log.csv": text})


def answered(folder: Path, text: str, **answers: str) -> Log:
    """Read an export by the layout printed for it, with answers put in."""
    files = {"log.csv": text}
    layout = printed(write(folder, files))
    with pytest.raises(LayoutError, match="not settled"):
        read(folder, files, layout)
    for word, meaning in answers.items():
        key = f'"{word}"' if " " in word else word
        assert f'{key} = "?"' in layout
        layout = layout.replace(f'{key} = "?"', f'{key} = "{meaning}"')
    return read(folder, files, layout)


def test_the_answer_is_followed(tmp_path: Path) -> None:
    log = answered(tmp_path, OWN_WORDS, alpha="start", beta="check", gamma="none",
                   delta="redness;pain")  # fmt: skip
    assert log.checks["entry"].tolist() == ["start", "check", "check"]
    assert log.checks["site_signs"].tolist() == ["none", "none", "redness;pain"]


def test_a_change_that_ends_the_old_syringe_ends_it(tmp_path: Path) -> None:
    log = answered(tmp_path, LOW_CHANGES, **{"syringe change": "end"})
    assert log.checks.groupby("infusion_id", sort=False).size().tolist() == [3, 2, 2]


STRUCK = """\
Ward,Patient,Checked at,Rate ml/h,Volume left,Struck out
Amber,K1,14/09/2026 08:00,0.6,16,
Amber,K1,14/09/2026 12:00,0.6,31.6,see note
Amber,K1,14/09/2026 12:00,0.6,13.6,
"""


def test_a_mark_that_a_layout_does_not_know_is_told_of(tmp_path: Path) -> None:
    layout = printed(write(tmp_path, {"log.csv": STRUCK}))
    layout = layout.replace('[table.words.struck_out]\n"see note" = "?"\n', "")
    log = read(tmp_path, {"log.csv": STRUCK}, layout)
    assert len(log.checks) == 3
    told = log.set_aside["sentence"].iloc[0]
    assert told.startswith("Struck out reads 'see note', which does not say whether")


LENGTHS = """\
Ward,Patient,Syringe no,Checked at,{},Syringe,Rate ml/h,Volume left
Amber,K1,S1,14/09/2026 08:00,{},20 ml luer lock,0.6,16
Amber,K1,S1,14/09/2026 12:00,{},20 ml luer lock,0.6,13.6
"""


@pytest.mark.parametrize(
    ("header", "cell", "hours"),
    [
        ("Run over (h:min)", "24:00", 24.0),
        ("Duration", "12 h 30 min", 12.5),
        ("Duration (h)", "24", 24.0),
    ],
)
def test_a_length_of_time_is_read_in_hours_and_minutes(
    tmp_path: Path, header: str, cell: str, hours: float
) -> None:
    log = read(tmp_path, {"log.csv": LENGTHS.format(header, cell, cell)})
    assert log.infusions.loc["S1", "planned_duration_h"] == hours
    assert log.infusions.loc["S1", "syringe_size_ml"] == 20
