"""Site reactions: what is an event, who was watched, for how long."""

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.policy import Policy
from tests.tiny import (
    POLICY,
    Row,
    after,
    audit,
    kinds,
    moment,
    only,
    policy_but,
    syringe,
    units_of,
    whole,
)

START = "2026-06-10T10:00"


def looks(signs: dict[float, str | None], **cells: Any) -> list[Row]:
    """Give rows of one site by hours since START: the signs charted at each."""
    common = {"site_id": "CN1", "set_rate_ml_h": None, **cells}
    rows = syringe(dict.fromkeys(signs), start=START, **common)
    for row, sign in zip(rows, signs.values(), strict=True):
        row["site_signs"] = sign
        row["infusion_id"] = common.get("infusion_id", "I1")
    return rows


def cannula(**cells: Any) -> Row:
    return {
        "line_id": "CN1",
        "patient_id": "P1",
        "ward": "Alder Ward",
        "kind": "cannula",
        "inserted_at": after(START, 0),
        **cells,
    }


def before_all() -> list[Row]:
    """Give a row of somebody else two days earlier: the log's beginning."""
    return syringe(
        {0: 16.0},
        start="2026-06-08T09:00",
        patient_id="P0",
        infusion_id="I0",
        driver_id="D0",
    )


@pytest.mark.parametrize(
    ("signs", "outcome", "days"),
    [
        pytest.param(
            {0: "none", 24: "none", 48: "none"}, "no reaction", 2.0, id="none seen"
        ),
        pytest.param(
            {0: "none", 24: "redness", 48: "redness"},
            "reaction",
            1.0,
            id="one reaction sign ends the exposure; one event a site",
        ),
        pytest.param(
            {0: "none", 24: "bruising", 48: "bruising"},
            "no reaction",
            2.0,
            id="one minor sign, however often, is none",
        ),
        pytest.param(
            {0: "none", 24: "", 48: "none"},
            "no reaction",
            2.0,
            id="not recorded in between is still watched",
        ),
        pytest.param(
            {0: None, 24: None}, "signs not recorded", None, id="never recorded"
        ),
        pytest.param(
            {0: "pain", 24: "none"}, "prevalent", None, id="there when first seen"
        ),
        pytest.param(
            {0: "", 24: "leakage; bruising"},
            "reaction",
            1.0,
            id="blank at first, then leakage",
        ),
    ],
)
def test_a_site_known_by_its_rows(
    tmp_path: Path, signs: dict[float, str | None], outcome: str, days: float | None
) -> None:
    result = audit(tmp_path, before_all() + looks(signs))
    (unit,) = units_of(result, "site_reactions").to_dict("records")
    assert unit["outcome"] == outcome
    assert kinds(result, "site") == ["site_reaction"] * (outcome == "reaction")
    if days is None:
        assert unit["tally"] == "excluded"
        assert whole(result.rates, "site_reactions")["exposure_days"] == 0
    else:
        assert unit["denominator"] == pytest.approx(days)
        assert unit["tally"] == ("counted" if outcome == "reaction" else "not counted")


@pytest.mark.parametrize(
    "header",
    [
        pytest.param("site_signs", id="a canonical header"),
        pytest.param("Site Condition", id="a header of the service's own"),
    ],
)
def test_a_look_that_cannot_be_read_is_not_recorded_and_no_absence_of_a_reaction(
    tmp_path: Path, header: str
) -> None:
    seen = looks({0: "none", 4: "redness", 8: "none"}, site_id="CN1")
    unread = looks(
        {0: "wobbly", 4: "wobbly", 8: None},
        site_id="CN2",
        patient_id="P2",
        infusion_id="I2",
        driver_id="D2",
    )
    half = looks(
        {0: "none", 4: "wobbly", 8: "none"},
        site_id="CN3",
        patient_id="P3",
        infusion_id="I3",
        driver_id="D3",
    )
    rows = [{"look": row.pop("site_signs"), **row} for row in seen + unread + half]
    rows = [{header if k == "look" else k: v for k, v in row.items()} for row in rows]
    result = audit(tmp_path, before_all() + rows)
    assert result.set_aside["column"].tolist() == [header] * 3
    units = units_of(result, "site_reactions").set_index("line_id")
    assert units.loc["CN1", "outcome"] == "reaction"
    assert units.loc["CN2", "outcome"] == "signs not recorded"
    assert units.loc["CN2", "tally"] == "excluded"
    readings = result.readings.set_index(["site_id", "checked_at"])["site_signs"]
    assert readings["CN2"].tolist() == ["", "", ""]
    assert readings["CN3"].tolist() == ["none", "", "none"]


def test_left_truncated_exposure_begins_at_the_first_row(tmp_path: Path) -> None:
    placed = cannula(inserted_at="2026-06-01T10:00")
    result = audit(
        tmp_path, before_all() + looks({0: "none", 24: "none"}), lines=[placed]
    )
    (unit,) = units_of(result, "site_reactions").to_dict("records")
    assert unit["denominator"] == pytest.approx(1.0)


def test_a_site_placed_within_the_log_is_watched_from_its_placement(
    tmp_path: Path,
) -> None:
    placed = cannula(inserted_at=after(START, -12))
    result = audit(
        tmp_path, before_all() + looks({0: "none", 24: "none"}), lines=[placed]
    )
    (unit,) = units_of(result, "site_reactions").to_dict("records")
    assert unit["denominator"] == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("line", "policy", "events", "days"),
    [
        pytest.param(
            {"removal_reason": "reaction"}, POLICY, 1, 1.5, id="removed for a reaction"
        ),
        pytest.param({"removal_reason": "routine"}, POLICY, 0, 1.5, id="by routine"),
        pytest.param({"removal_reason": "leak"}, POLICY, 0, 1.5, id="for a leak"),
        pytest.param(
            {"removal_reason": "leak"},
            policy_but(reaction_removal_reasons=["reaction", "leak"]),
            1,
            1.5,
            id="for a leak, where the policy says so",
        ),
    ],
)
def test_removal_ends_the_exposure_and_may_be_the_event(
    tmp_path: Path, line: Row, policy: Policy, events: int, days: float
) -> None:
    out = cannula(removed_at=after(START, 36), **line)
    result = audit(
        tmp_path,
        before_all() + looks({0: "none", 24: "none", 40: "redness"}),
        lines=[out],
        policy=policy,
    )
    rate = whole(result.rates, "site_reactions")
    assert rate["events"] == events
    assert rate["exposure_days"] == pytest.approx(days)
    if events:
        assert only(result, "site_reaction")["first_visible"] == moment(
            "2026-06-11T22:00"
        )


@pytest.mark.parametrize(
    ("seen", "hours"),
    [
        # The middle of the day is 26 h after the first look, its end 38 h.
        pytest.param((0, 10), 26, id="no look that day"),
        pytest.param((0, 30), 34, id="seen clear later than noon"),
        pytest.param((0, 20, 37), 37.5, id="seen clear in the last hour"),
    ],
)
def test_a_removal_dated_by_day_comes_after_the_last_look(
    tmp_path: Path, seen: tuple[float, ...], hours: float
) -> None:
    out = cannula(removed_at="2026-06-11", removal_reason="reaction")
    rows = before_all() + looks(dict.fromkeys(seen, "none"))
    result = audit(tmp_path, rows, lines=[out])
    found = only(result, "site_reaction")["first_visible"]
    assert found == moment("2026-06-10T10:00") + pd.Timedelta(hours=hours)
    rate = whole(result.rates, "site_reactions")
    assert rate["exposure_days"] == pytest.approx(hours / 24)


def test_a_removal_dated_by_the_first_day_is_no_reaction_at_the_first_look(
    tmp_path: Path,
) -> None:
    out = cannula(
        inserted_at="2026-06-10", removed_at="2026-06-10", removal_reason="reaction"
    )
    rows = before_all() + looks({4: "none", 8: "none"})
    (unit,) = units_of(audit(tmp_path, rows, lines=[out]), "site_reactions").to_dict(
        "records"
    )
    assert (unit["outcome"], unit["reason"]) == ("reaction", "")
    # Placed in the middle before 14:00, gone in that between 18:00 and midnight.
    assert unit["denominator"] == pytest.approx(14 / 24)


def test_a_removal_for_a_reaction_of_a_site_without_signs_is_an_event(
    tmp_path: Path,
) -> None:
    out = cannula(removed_at=after(START, 36), removal_reason="reaction")
    result = audit(tmp_path, before_all() + looks({0: "", 24: ""}), lines=[out])
    assert whole(result.rates, "site_reactions")["events"] == 1


@pytest.mark.parametrize(
    ("signs", "needed", "outcome"),
    [
        pytest.param("bruising", 1, "reaction", id="one minor sign, one needed"),
        pytest.param("bruising", 2, "no reaction", id="one minor sign, two needed"),
        pytest.param("bruising; pain", 2, "reaction", id="two minor signs at once"),
    ],
)
def test_enough_minor_signs_at_one_check_are_a_reaction(
    tmp_path: Path, signs: str, needed: int, outcome: str
) -> None:
    policy = policy_but(
        reaction_signs=["redness"],
        minor_signs=["bruising", "pain"],
        minor_signs_needed=needed,
    )
    rows = before_all() + looks({0: "none", 24: signs, 48: "none"})
    (unit,) = units_of(audit(tmp_path, rows, policy=policy), "site_reactions").to_dict(
        "records"
    )
    assert unit["outcome"] == outcome


def test_minor_signs_at_two_checks_do_not_add_up(tmp_path: Path) -> None:
    policy = policy_but(reaction_signs=["redness"], minor_signs=["bruising", "pain"])
    rows = before_all() + looks({0: "none", 24: "bruising", 48: "pain"})
    (unit,) = units_of(audit(tmp_path, rows, policy=policy), "site_reactions").to_dict(
        "records"
    )
    assert unit["outcome"] == "no reaction"


def test_exposure_is_cut_at_months_and_wards_and_adds_up(tmp_path: Path) -> None:
    rows = syringe(
        dict.fromkeys((0, 12, 24, 36, 48)),
        start="2026-06-29T18:00",
        site_id="CN1",
        site_signs="none",
        cells={h: {"ward": "Birch Ward"} for h in (24, 36, 48)},
    )
    result = audit(tmp_path, rows)
    days = result.rates.set_index(["ward", "period"])["exposure_days"]
    assert days["all", "all"] == pytest.approx(2.0)
    # 18:00 on 29 June to midnight of 30 June is 30 h; the ward changed after 24 h.
    assert days["all", "2026-06"] == pytest.approx(30 / 24)
    assert days["Alder Ward", "2026-06"] == pytest.approx(1.0)
    assert days["Birch Ward", "2026-06"] == pytest.approx(6 / 24)
    assert days["Birch Ward", "2026-07"] == pytest.approx(18 / 24)
    assert ("Alder Ward", "2026-07") not in days.index


def test_days_over_a_clock_change_are_true_days(tmp_path: Path) -> None:
    rows = syringe(
        dict.fromkeys((0, 25)), start="2026-10-24T12:00", site_id="CN1",
        site_signs="none",
    )  # fmt: skip
    rate = whole(audit(tmp_path, rows).rates, "site_reactions")
    assert rate["exposure_days"] == pytest.approx(25 / 24)


def test_a_reaction_at_the_first_look_after_a_transfer_is_not_lost(
    tmp_path: Path,
) -> None:
    rows = looks({0: "none", 12: "none", 24: "redness"})
    rows[2]["ward"] = "Birch Ward"
    rates = audit(tmp_path, before_all() + rows).rates
    wards = rates[(rates["ward"] != "all") & (rates["period"] == "all")]
    assert whole(rates, "site_reactions")["events"] == wards["events"].sum() == 1


def test_no_event_has_an_upper_limit_only(tmp_path: Path) -> None:
    result = audit(tmp_path, looks({0: "none", 48: "none"}))
    rate = whole(result.rates, "site_reactions")
    assert (rate["events"], rate["rate_per_1000"], rate["low"]) == (0, 0, 0)
    # Garwood (1936): upper limit of no event 3.689, here over 2 site-days.
    assert rate["high"] == pytest.approx(1000 * 3.6889 / 2, abs=0.05)


def test_without_any_word_of_sites_there_is_no_rate(tmp_path: Path) -> None:
    result = audit(tmp_path, syringe({0: 16.0, 4: 13.3}))
    assert "Not in this export" in result.not_in_export["site_reactions"]
    rate = whole(result.rates, "site_reactions")
    assert (rate["events"], rate["exposure_days"]) == (0, 0)
    assert rate[["rate_per_1000", "low", "high"]].isna().all()


def test_rows_without_an_id_belong_to_the_only_cannula_then_in_place(
    tmp_path: Path,
) -> None:
    rows = before_all() + looks({0: "none", 24: "none", 30: "pain"}, site_id=None)
    out = cannula(removed_at=after(START, 26), removal_reason="routine")
    new = cannula(line_id="CN2", inserted_at=after(START, 26))
    result = audit(tmp_path, rows, lines=[out, new])
    units = units_of(result, "site_reactions").set_index("unit_id")
    assert units["outcome"].to_dict() == {"CN1": "no reaction", "CN2": "reaction"}


def test_sites_without_ids_are_derived_from_changes_and_places(tmp_path: Path) -> None:
    signs: dict[float, str | None] = dict.fromkeys((0, 24, 30, 40, 48), "none")
    rows = looks(signs, site_id=None)
    places, changes = ["thigh", "", "thigh", "", "chest"], ["", "", "yes", "", ""]
    for row, place, changed in zip(rows, places, changes, strict=True):
        row.update(site_location=place, site_changed=changed)
    rows[3]["site_location"] = "thigh"  # the change at 30 h was within the thigh
    result = audit(tmp_path, before_all() + rows)
    units = units_of(result, "site_reactions")
    assert len(units) == 3
    assert units["unit_id"].str.startswith("derived-").all()
    assert any("derived" in note for note in result.notes)


@pytest.mark.parametrize(
    ("signs", "places", "outcomes"),
    [
        pytest.param(
            "redness",
            ["thigh", "thigh", "chest", "chest"],
            ["reaction", "no reaction"],
            id="a sign at the row that charts the change is of the site it found",
        ),
        pytest.param(
            "none",
            ["thigh", "thigh", "chest", "chest"],
            ["no reaction", "no reaction"],
            id="so is the place, where the next row names another",
        ),
        pytest.param(
            "none",
            ["thigh", "chest", "chest", "chest"],
            ["no reaction", "no reaction"],
            id="a new place is of the new site; the old one ended at the change",
        ),
        pytest.param(
            "none",
            ["thigh", "", "chest", "chest"],
            ["no reaction", "no reaction"],
            id="no place at the change, another at the next row",
        ),
    ],
)
def test_a_charted_change_is_one_change(
    tmp_path: Path, signs: str, places: list[str], outcomes: list[str]
) -> None:
    seen: dict[float, str | None] = {0: "none", 12: signs, 24: "none", 36: "none"}
    rows = looks(seen, site_id=None)
    for row, place in zip(rows, places, strict=True):
        row.update(site_location=place, site_changed="no")
    rows[1]["site_changed"] = "yes"
    units = units_of(audit(tmp_path, before_all() + rows), "site_reactions")
    units = units.sort_values("denominator")
    assert units["outcome"].tolist() == outcomes
    assert units["denominator"].tolist() == pytest.approx([0.5, 1.0])


@pytest.mark.parametrize(
    ("places", "sites"),
    [
        pytest.param("thigh chest thigh thigh", 1, id="one row elsewhere is a slip"),
        pytest.param("thigh chest thigh chest", 2, id="rows that take turns, the last"),
        pytest.param("thigh chest chest thigh", 3, id="two rows elsewhere are a site"),
        pytest.param("thigh thigh chest chest", 2, id="a move"),
        pytest.param("thigh thigh thigh chest", 2, id="a move at the last row"),
    ],
)
def test_a_place_that_comes_back_makes_no_site_of_one_row(
    tmp_path: Path, places: str, sites: int
) -> None:
    rows = looks(dict.fromkeys((0.0, 12.0, 24.0, 36.0), "none"), site_id=None)
    for row, place in zip(rows, places.split(), strict=True):
        row.update(site_location=place, site_changed="no")
    assert len(units_of(audit(tmp_path, before_all() + rows), "site_reactions")) == (
        sites
    )


def test_a_site_ends_in_the_hour_that_comes_twice(tmp_path: Path) -> None:
    rows = syringe(
        dict.fromkeys((0, 12)), start="2026-10-24T12:00", site_id="CN1",
        site_signs="none",
    )  # fmt: skip
    out = cannula(
        inserted_at="2026-10-24T12:00",
        removed_at="2026-10-25T01:30+00:00",
        removal_reason="reaction",
    )
    rate = whole(audit(tmp_path, rows, lines=[out]).rates, "site_reactions")
    assert rate["exposure_days"] == pytest.approx(14.5 / 24)


def test_a_cannula_of_which_nothing_is_known_is_excluded_by_name(
    tmp_path: Path,
) -> None:
    bare = cannula(patient_id="P8", ward=None, inserted_at=None)
    found = audit(tmp_path, looks({0: "none", 24: "none"}, site_id="CN7"), lines=[bare])
    units = units_of(found, "site_reactions").set_index("unit_id")
    assert units.loc["CN1", "reason"] == "site signs never recorded"
    assert units.loc["CN1", "ward"] == "ward not recorded"
    assert units["month"].eq("2026-06").all()
