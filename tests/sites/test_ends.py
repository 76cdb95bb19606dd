"""Why a site is no longer watched, and when it was placed, as far as a log tells."""

from pathlib import Path

import pandas as pd
import pytest

from analysis.intake import read_exports
from analysis.research.survival import site_times
from analysis.sites.attribution import rows_of_sites
from analysis.sites.definition import definition_of, definitions
from analysis.sites.episodes import Courses, site_courses, site_episodes
from tests.tiny import POLICY, Row, after, syringe, write_csv

START = "2026-06-10T14:00"

#: Site, end of its infusion, reason for its removal, and what is to be found.
CASES = [
    ("CN1", "", "routine", "removal"),
    ("CN2", "", "leak", "removal"),
    ("CN3", "", "died", "death"),
    ("CN4", "", "end_of_treatment", "end of treatment"),
    ("CN5", "died", "", "death"),
    ("CN6", "transferred", "", "transfer"),
    ("CN7", "stopped", "", "end of treatment"),
    ("CN8", "", "", "end of observation"),
    ("CN9", "died", "no reason", "death"),
    ("CN91", "stopped", "no reason", "removal"),
]


@pytest.fixture(scope="module")
def courses(tmp_path_factory: pytest.TempPathFactory) -> Courses:
    folder = tmp_path_factory.mktemp("log")
    rows: list[Row] = syringe(
        {0: 16.0},
        start="2026-06-08T15:00",
        patient_id="P0",
        infusion_id="I0",
        driver_id="D0",
    )
    infusions, lines = [], []
    for number, (site, ended, removed, _) in enumerate(CASES, start=1):
        rows += syringe(
            dict.fromkeys((0, 8, 16)),
            start=START,
            patient_id=f"P{number}",
            infusion_id=f"I{number}",
            driver_id=f"D{number}",
            site_id=site,
            site_signs="none",
        )
        infusions.append(
            {
                "infusion_id": f"I{number}",
                "patient_id": f"P{number}",
                "started_at": after(START, 0),
                "ended_at": after(START, 17) if ended else None,
                "end_reason": ended,
            }
        )
        lines.append(
            {
                "line_id": site,
                "patient_id": f"P{number}",
                "kind": "cannula",
                "inserted_at": after(START, -1),
                "removed_at": after(START, 20) if removed else None,
                "removal_reason": removed.replace("no reason", ""),
            }
        )
    paths = [
        write_csv(folder / f"{name}.csv", table)
        for name, table in (
            ("checks", rows),
            ("infusions", infusions),
            ("lines", lines),
        )
    ]
    log = read_exports(paths, POLICY)
    return site_courses(log, rows_of_sites(log))


@pytest.mark.parametrize(("site", "ended", "removed", "found"), CASES)
def test_a_site_says_why_it_is_watched_no_longer(
    courses: Courses, site: str, ended: str, removed: str, found: str
) -> None:
    del ended
    own = courses.sites.loc[site]
    assert own["leaves"] == found
    hours = (own["gone_at"] - own["placed_at"]).total_seconds() / 3600
    assert hours == pytest.approx(21 if removed else 17)
    assert not own["is_left_truncated"]


def test_what_is_no_reaction_by_one_definition_is_censored_by_its_end(
    courses: Courses,
) -> None:
    episodes = site_episodes(courses, definition_of(POLICY))
    assert episodes["end"].tolist() == [case[-1] for case in CASES]
    assert episodes["event_at"].isna().all()


def test_definitions_read_signs_as_they_say() -> None:
    signs = pd.Series(["", "none", "bruising", "redness", "bruising;redness"])
    found = {
        each.name: each.is_reaction(signs).tolist() for each in definitions(POLICY)
    }
    assert found["policy"] == [False, False, False, True, True]
    assert found["policy, no removals"] == found["policy"]
    assert found["any sign"] == [False, False, True, True, True]
    assert found["two signs"] == [False, False, False, False, True]
    assert found["removals alone"] == [False] * 5


#: Site, signs charted at its checks, its row of the lines table, and by which
#: definitions it is judged: the policy's, its signs alone, removals alone.
JUDGED = [
    ("CN1", "none", {}, "yes yes yes"),
    ("CN2", "", {}, "no no yes"),
    ("CN3", "", {"removal_reason": "routine"}, "yes no yes"),
    ("CN4", "none", {"removal_reason": ""}, "yes yes no"),
    ("CN5", "none", {"removal_reason": "leak"}, "yes yes yes"),
    ("CN6", "none", None, "yes yes no"),
]


def test_what_is_judged_depends_on_what_counts(tmp_path: Path) -> None:
    rows: list[Row] = []
    lines: list[Row] = []
    for number, (site, signs, line, _) in enumerate(JUDGED, start=1):
        rows += syringe(
            dict.fromkeys((0, 8, 16)),
            start=START,
            patient_id=f"P{number}",
            infusion_id=f"I{number}",
            driver_id=f"D{number}",
            site_id=site,
            site_signs=signs,
        )
        if line is not None:
            out = {"removed_at": after(START, 20), **line} if line else {}
            place = {"line_id": site, "patient_id": f"P{number}", "kind": "cannula"}
            lines.append({**place, "inserted_at": after(START, -1), **out})
    tables = (("checks", rows), ("lines", lines))
    log = read_exports([write_csv(tmp_path / f"{n}.csv", t) for n, t in tables], POLICY)
    courses = site_courses(log, rows_of_sites(log))
    by = {each.name: each for each in definitions(POLICY)}
    names = ("policy", "policy, no removals", "removals alone")
    found = pd.DataFrame(
        {
            name: site_episodes(courses, by[name])["outcome"] != "signs not recorded"
            for name in names
        }
    )
    for site, _, _, judged in JUDGED:
        said = " ".join("yes" if is_so else "no" for is_so in found.loc[site])
        assert said == judged, site


#: Signs by hours, removal at 20 h, and when it was last known to have no reaction [h].
CLEAR = [
    ("CN1", {0: "none", 8: "none", 16: "none"}, None, 16.0),
    ("CN2", {0: "none", 8: "none", 16: ""}, None, 8.0),
    ("CN3", {0: "none", 8: "", 16: ""}, "routine", 20.0),
    ("CN4", {0: "none", 8: "", 16: ""}, "", 0.0),
    ("CN5", {0: "", 8: "none", 16: "redness"}, None, 8.0),
    ("CN6", {0: "", 8: "", 16: "redness"}, None, -1.0),
]


def test_a_site_is_known_to_be_clear_as_far_as_looks_recorded_it(
    tmp_path: Path,
) -> None:
    """What nobody recorded after the last look is not known to be free of it."""
    rows: list[Row] = []
    lines: list[Row] = []
    for number, (site, signs, reason, _) in enumerate(CLEAR, start=1):
        own = syringe(
            dict.fromkeys(signs),
            start=START,
            patient_id=f"P{number}",
            infusion_id=f"I{number}",
            driver_id=f"D{number}",
            site_id=site,
        )
        rows += [
            {**row, "site_signs": s} for row, s in zip(own, signs.values(), strict=True)
        ]
        gone = {} if reason is None else {"removed_at": after(START, 20)}
        place: Row = {"line_id": site, "patient_id": f"P{number}", "kind": "cannula"}
        place |= {"inserted_at": after(START, -1), "removal_reason": reason}
        lines.append({**place, **gone})
    # Somebody else's row, so that all sites were placed within the log.
    rows += syringe({-9: None}, start=START, patient_id="P0", infusion_id="I0")
    tables = (("checks", rows), ("lines", lines))
    log = read_exports([write_csv(tmp_path / f"{n}.csv", t) for n, t in tables], POLICY)
    courses = site_courses(log, rows_of_sites(log))
    episodes = site_episodes(courses, definition_of(POLICY))
    hours = (episodes["clear_at"] - pd.Timestamp(after(START, 0))) / pd.Timedelta("1h")
    assert hours.to_dict() == {site: hour for site, _, _, hour in CLEAR}
    times = site_times(courses, episodes)
    # From the placement an hour before, in days.
    assert (24 * times["clear"] - 1).round(6).to_dict() == hours.to_dict()
    assert (times["time"] >= times["clear"]).all()
