"""Hours of the day at which checks were not on time."""

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.columns import UNITS
from analysis.wards import checks_by_hour, hours_in_words
from tests.tiny import audit, policy_but, syringe

POLICY = policy_but(smallest_group_patients=2, smallest_group_units=3)
ZONE = "Europe/London"


def units(rows: list[tuple[str, str, str]]) -> pd.DataFrame:
    """Give units of checks on time: local due time, patient, outcome."""
    table = pd.DataFrame(rows, columns=["due_at", "patient_id", "outcome"])
    due = pd.to_datetime(table["due_at"]).dt.tz_localize(ZONE, ambiguous=True)
    tally = (table["outcome"] == "on time").map({True: "counted", False: "not counted"})
    table = table.assign(
        measure="checks_on_time",
        ward="B",
        due_at=due,
        month=due.dt.strftime("%Y-%m"),
        tally=tally,
    )
    return table.reindex(columns=UNITS.names)


def day(outcomes: dict[int, list[str]], date: str = "2026-06-03") -> pd.DataFrame:
    """Give checks due at hours of one day, each of another patient in turn."""
    return units(
        [
            (f"{date} {hour:02}:30", f"P{place}", outcome)
            for hour, several in outcomes.items()
            for place, outcome in enumerate(several)
        ]
    )


def at(found: pd.DataFrame, ward: str, hour: int) -> dict[str, Any]:
    """Give the row of one ward and hour."""
    rows = found[(found["ward"] == ward) & (found["from_h"] == hour)]
    assert len(rows) == 1
    return {str(name): rows[name].iloc[0] for name in rows}


def test_late_and_missed_are_counted_apart_by_the_hour_they_fell_due() -> None:
    table = day(
        {
            0: ["late", "late", "on time"],
            1: ["late", "missed", "on time"],
            23: ["missed", "on time", "on time"],
        }
    )
    found = checks_by_hour(table, POLICY)
    own = found[found["ward"] == "B"].set_index("from_h")
    assert own.index.tolist() == list(range(0, 24, 2))
    some = own.loc[[0, 22], ["to_h", "due", "patients", "late", "missed"]]
    assert some.to_numpy().tolist() == [[2, 6, 3, 3, 1], [24, 3, 3, 0, 1]]
    assert own["late"].sum() == 3
    assert own["missed"].sum() == 2


@pytest.mark.parametrize(
    ("several", "is_shown"),
    [
        pytest.param(["late", "on time", "missed"], True, id="enough of both"),
        pytest.param(["late", "on time"], False, id="too few checks"),
        pytest.param([], True, id="nothing due is no secret"),
    ],
)
def test_small_cells_are_not_shown(several: list[str], is_shown: bool) -> None:  # noqa: FBT001 - a case
    table = day({8: several, 16: ["on time"] * 5})
    row = at(checks_by_hour(table, POLICY), "B", 8)
    assert row["is_shown"] == is_shown
    assert pd.notna(row["late"]) == pd.notna(row["missed"]) == is_shown
    assert row["due"] == len(several)


def test_many_checks_of_too_few_patients_are_not_shown() -> None:
    table = units([("2026-06-03 08:30", "P1", "late")] * 9)
    assert not at(checks_by_hour(table, POLICY), "B", 8)["is_shown"]


def test_wards_are_in_alphabetical_order_and_all_of_them_last() -> None:
    table = pd.concat(
        [day({8: ["late"]}).assign(ward=ward) for ward in ("C", "A", "B")]
    )
    found = checks_by_hour(table, POLICY, width_h=24)
    assert found["ward"].tolist() == ["A", "B", "C", "all"]
    assert found["due"].tolist() == [1, 1, 1, 3]


def test_excluded_units_other_measures_and_other_months_take_no_part() -> None:
    table = pd.concat(
        [
            day({8: ["late"] * 4}),
            day({8: ["late"] * 4}).assign(tally="excluded"),
            day({8: ["late"] * 4}).assign(measure="checks_on_time_grace_1.0"),
            day({8: ["late"] * 4}, "2026-07-01"),
        ]
    )
    found = checks_by_hour(table, POLICY, month="2026-06").set_index(["ward", "from_h"])
    assert found["late"].groupby("ward").sum().to_dict() == {"B": 4, "all": 4}


def test_the_hour_is_local_and_the_one_that_comes_twice_is_one() -> None:
    # 25 October 2026, clocks back: 00:30 and 01:30 UTC are both 01:30 in London.
    due = pd.to_datetime(["2026-10-25 00:30", "2026-10-25 01:30"], utc=True)
    table = units([("2026-06-03 08:30", f"P{n}", "late") for n in range(2)])
    table = table.assign(due_at=due.tz_convert(ZONE))
    assert at(checks_by_hour(table, POLICY, width_h=1), "B", 1)["due"] == 2


@pytest.mark.parametrize("width_h", [0, 5, 7, 48])
def test_hours_that_do_not_divide_the_day_are_refused(width_h: int) -> None:
    with pytest.raises(ValueError, match="must divide 24"):
        checks_by_hour(day({8: ["late"]}), POLICY, width_h=width_h)


@pytest.mark.parametrize(
    ("outcomes", "words"),
    [
        pytest.param(
            {1: ["late"] * 14, 13: ["late", "missed", "on time"]},
            "Late: 14 between 00 and 06, 1 between 12 and 18. Missed: 1 between 12 and "
            "18.",
            id="late and missed apart",
        ),
        pytest.param(
            {1: ["on time"] * 14}, "Late: none. Missed: none.", id="all on time"
        ),
        pytest.param(
            {1: ["late"] * 4, 20: ["late"]},
            "Late: 4 between 00 and 06. Missed: none. Too few checks or patients to "
            "show between 18 and 24.",
            id="one stretch is too small",
        ),
        pytest.param(
            {1: ["late"], 20: ["late"]},
            "Too few checks or patients to show by the hour of the day.",
            id="all are too small",
        ),
    ],
)
def test_in_words(outcomes: dict[int, list[str]], words: str) -> None:
    found = checks_by_hour(day(outcomes), POLICY, width_h=6)
    assert hours_in_words(found[found["ward"] == "B"]) == words


def test_nothing_due_is_said() -> None:
    found = checks_by_hour(day({}), POLICY)
    assert not len(found)
    assert hours_in_words(found) == "No check was due."


def test_hours_of_an_audit(tmp_path: Path) -> None:
    # Started 10:03, checks due 14:03 and so on; the 22:03 one is late, 02:03 missed.
    volumes = {0: 16.0, 4: 13.3, 8: 10.7, 13.5: 7.0, 21.0: 2.0, 23.9: 0.1}
    rows = [
        row
        for n in range(3)
        for row in syringe(
            volumes,
            entries={23.9: "end"},
            patient_id=f"P{n}",
            infusion_id=f"I{n}",
            driver_id=f"D{n}",
        )
    ]
    result = audit(tmp_path, rows, policy=POLICY)
    found = checks_by_hour(result.units, POLICY)
    own = found[(found["ward"] == "Alder Ward") & (found["due"] > 0)]
    night = at(found, "Alder Ward", 22)
    assert (night["late"], night["missed"]) == (3, 0)
    assert (own["late"].sum(), own["missed"].sum()) == (3, 3)
