"""How many patients of an extract can be found by whoever holds the charts."""

import json
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.policy import Policy
from analysis.report.research import publish_study, sections
from analysis.report.research.words import linkage_words
from analysis.research import Extract, Study, run_study
from analysis.research.columns import EXTRACT_PERIODS, EXTRACT_SITES
from analysis.research.linkage import Linkage, in_whole_days, linkage

DEMO = Path(__file__).parents[2] / "synthetic_data"
FILES = [DEMO / name for name in ("checks.csv", "infusions.csv", "lines.csv")]
KEY = b"a key that is in no file of the log"


def sites(*rows: tuple[str, str, float]) -> pd.DataFrame:
    """Make sites of patient, location and end; all else is alike."""
    table = pd.DataFrame(rows, columns=pd.Index(["patient", "location", "end_h"]))
    table["site"] = [f"S{place}" for place in range(len(rows))]
    table = table.reindex(columns=EXTRACT_SITES.names)
    return table.astype({"entry_h": float, "clear_h": float, "gone_h": float})


def periods(*rows: tuple[str, str, float]) -> pd.DataFrame:
    """Make periods of site, drugs and end; all else is alike."""
    table = pd.DataFrame(rows, columns=pd.Index(["site", "drugs", "to_h"]))
    table = table.reindex(columns=EXTRACT_PERIODS.names)
    return table.astype({"from_h": float, "to_h": float, "volume_ml_24h": float})


@pytest.mark.parametrize(
    ("site_rows", "period_rows", "rows", "days", "words"),
    [
        pytest.param(
            [("A", "thigh", 24.0), ("B", "thigh", 24.0)], [], 0, 0, 0, id="two alike"
        ),
        pytest.param(
            [("A", "thigh", 24.0), ("B", "thigh", 25.0)],
            [],
            2,
            0,
            0,
            id="told apart by an hour, and not by days",
        ),
        pytest.param(
            [("A", "thigh", 24.0), ("B", "thigh", 24.04)],
            [],
            0,
            0,
            0,
            id="less than is written tells nobody apart",
        ),
        pytest.param(
            [("A", "thigh", 24.0), ("A", "chest", 24.0), ("B", "thigh", 24.0)],
            [],
            2,
            2,
            2,
            id="one site more",
        ),
        pytest.param(
            [("A", "thigh", 24.0), ("A", "thigh", 24.0), ("B", "thigh", 24.0)],
            [],
            2,
            2,
            0,
            id="the same words once more are no other words",
        ),
        pytest.param(
            [("A", "thigh", 24.0), ("B", "thigh", 24.0), ("C", "thigh", 24.0)],
            [("S0", "m", 24.0), ("S1", "m", 24.0), ("S2", "other", 24.0)],
            1,
            1,
            1,
            id="by the drugs of its periods",
        ),
    ],
)
def test_who_is_like_nobody_else(
    site_rows: list[tuple[str, str, float]],
    period_rows: list[tuple[str, str, float]],
    rows: int,
    days: int,
    words: int,
) -> None:
    found = linkage(sites(*site_rows), periods(*period_rows), 2)
    told = (found.alone_by_rows, found.alone_by_days, found.alone_by_words)
    assert told == (rows, days, words)
    assert found.patients == len({row[0] for row in site_rows})


@pytest.fixture(scope="module")
def made() -> tuple[Study, Extract]:
    study, extract = run_study(FILES, Policy.load(DEMO / "policy.toml"), KEY)
    assert extract is not None
    return study, extract


def test_the_number_is_that_of_a_search_patient_by_patient(
    made: tuple[Study, Extract], tmp_path: Path
) -> None:
    # From the files alone, as they are written.
    publish_study(*made, tmp_path / "out", tables_only=True)
    one, two = (
        pd.read_csv(tmp_path / "out" / "extract" / f"{name}.csv", dtype="str")
        for name in ("sites", "periods")
    )
    two = two.assign(patient=two["site"].map(one.set_index("site")["patient"]))
    keys = ["site", "patient"]
    rows = [
        (row["patient"], (name, *row.drop(keys).fillna("")))
        for name, table in (("s", one), ("p", two))
        for _, row in table.iterrows()
    ]
    by: dict[str, list[tuple[str, ...]]] = {}
    for patient, row in rows:
        by.setdefault(patient, []).append(row)
    sets = [tuple(sorted(own)) for own in by.values()]
    assert made[1].linkage.patients == len(sets)
    assert made[1].linkage.alone_by_rows == sum(sets.count(own) == 1 for own in sets)


def test_rows_of_few_patients_are_those_of_a_count_by_all_their_words(
    made: tuple[Study, Extract],
) -> None:
    sites, periods = made[1].sites, made[1].periods
    owner = sites.set_index("site")["patient"]
    periods = periods.assign(patient=periods["site"].map(owner))
    few = 0
    for table, words in (
        (sites, ["ward", "location", "drugs", "material"]),
        (periods, ["ward", "drugs", "diluent"]),
    ):
        rows = [tuple(row) for row in table[[*words, "patient"]].to_numpy()]
        for row in rows:
            few += len({other[-1] for other in rows if other[:-1] == row[:-1]}) < 5
    found = made[1].linkage
    assert found.rows == len(sites) + len(periods)
    assert found.rows_of_few == few > 0


def test_sites_at_the_ends_of_the_log_are_those_of_the_log(
    made: tuple[Study, Extract],
) -> None:
    log = pd.read_csv(FILES[0], dtype="str")
    begins = "2026-08-30T10:34"
    assert log["checked_at"].min() == begins
    lines = pd.read_csv(FILES[2], dtype="str").query("kind == 'cannula'")
    named = set(log["site_id"])
    before = (lines["inserted_at"] < begins) & lines["line_id"].isin(named)
    sites = made[1].sites
    in_place = sites["entry_h"] > 0
    assert in_place.sum() == before.sum() > 0
    watched = sites["gone"] == "end of observation"
    assert made[1].linkage.at_ends_of_log == (in_place | watched).sum()


def test_the_report_and_the_dictionary_say_the_number(
    made: tuple[Study, Extract], tmp_path: Path
) -> None:
    out = tmp_path / "out"
    publish_study(*made, out, tables_only=True)
    found = made[1].linkage
    said = f"can find {found.alone_by_rows} of its {found.patients} patients"
    assert said in sections.extract(str(out)).html
    assert said in sections.next_steps(made[0], str(out)).html
    package = json.loads((out / "extract" / "datapackage.json").read_text("utf-8"))
    assert said in package["description"]
    by = made[1].sites.groupby(["ward", "location", "drugs"])["patient"].nunique()
    assert by.min() >= 5
    assert (
        "behind each combination of ward, location and drugs"
        in (package["description"])
    )
    told = f"fewer in {found.rows_of_few} of {found.rows} rows"
    assert told in package["description"]


def test_most_drugs_and_places_are_kept_and_the_ward_is_given_up(
    made: tuple[Study, Extract],
) -> None:
    other = made[1].linkage.other
    assert other["drugs"] < 0.1 < other["location"] < 0.5 < other["ward"]


def test_whole_days_are_whole_days_and_nothing_else_changes(
    made: tuple[Study, Extract], tmp_path: Path
) -> None:
    policy = Policy.load(DEMO / "policy.toml")
    study, coarse = run_study(FILES, policy, KEY, whole_days=True)
    assert coarse is not None
    for table, own in (
        (coarse.sites, made[1].sites),
        (coarse.periods, made[1].periods),
    ):
        hours = [str(name) for name in table if str(name).endswith("_h")]
        assert (table[hours].fillna(0) % 24 == 0).all(axis=None)
        assert np.nanmax(np.abs((table[hours] - own[hours]).to_numpy(float))) <= 12
        pd.testing.assert_frame_equal(
            table.drop(columns=hours), own.drop(columns=hours)
        )
    assert coarse.linkage.alone_by_rows == made[1].linkage.alone_by_days
    publish_study(study, coarse, tmp_path / "out", tables_only=True)
    said = sections.extract(str(tmp_path / "out")).html
    assert "differ from those of this study" in said
    path = tmp_path / "out" / "extract" / "datapackage.json"
    of_periods = json.loads(path.read_text("utf-8"))["resources"][1]["schema"]
    assert "primaryKey" not in of_periods


def test_in_words_nothing_is_said_of_what_is_not_coarse() -> None:
    found = Linkage(
        patients=1,
        alone_by_rows=1,
        alone_by_days=1,
        alone_by_words=0,
        rows=12,
        rows_of_few=4,
        sites=3,
        at_ends_of_log=2,
        other={"ward": 0.0, "drugs": 0.25},
    )
    said = " ".join(linkage_words(found, 5, whole_days=False))
    assert "1 of its 1 patient " in said
    assert "2 of its 3 sites were in place before the log began" in said
    assert "fewer in 4 of 12 rows" in said
    assert "drugs in 25 %" in said
    assert "ward in" not in said
    assert asdict(found)["patients"] == 1
    assert in_whole_days(pd.DataFrame({"a_h": [13.0]}))["a_h"].tolist() == [24.0]
