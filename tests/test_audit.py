"""The audit as a whole: a second count, contracts of its tables, relations."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.audit import AuditResult, choose_month, run_audit
from analysis.columns import OUTPUT, Kind, Table
from analysis.compliance.coded import as_texts
from analysis.policy import Policy
from analysis.synthetic import DEMO_PLANTING, WARDS, make_log, write_log
from analysis.terms import FindingGroup
from tests import naive
from tests.naive import Rules, Unit
from tests.tiny import POLICY, Row, audit, kinds, syringe, units_of, write_csv

DEMO = Path(__file__).parents[1] / "synthetic_data"
TABLES = ("checks.csv", "infusions.csv", "lines.csv")


@dataclass(frozen=True)
class Case:
    """A log in a folder, and its audit."""

    folder: Path
    rules: Rules
    result: AuditResult


def audited(folder: Path) -> Case:
    policy = Policy.load(DEMO / "policy.toml")
    result = run_audit([folder / name for name in TABLES], policy)
    return Case(folder, Rules(DEMO / "policy.toml"), result)


@pytest.fixture(scope="module")
def demo() -> Case:
    return audited(DEMO)


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Case:
    """Three months over the spring clock change, another seed: about 600 infusions."""
    folder = tmp_path_factory.mktemp("generated")
    log = make_log(
        rng=np.random.default_rng(4711),
        wards=WARDS,
        first_day=date(2026, 2, 10),
        days=92,
        planting=DEMO_PLANTING,
    )
    write_log(log, folder)
    return audited(folder)


@pytest.fixture(params=["demo", "other"])
def case(request: pytest.FixtureRequest) -> Case:
    found = request.getfixturevalue(request.param)
    assert isinstance(found, Case)
    return found


# A second count ----------------------------------------------------------------------


def counted(result: AuditResult, measure: str) -> Counter[tuple[str, Unit]]:
    units = result.units[result.units["measure"] == measure]
    return Counter(
        (name, Unit(outcome, round(x, 4), round(n, 4)))
        for name, outcome, x, n in zip(
            units["infusion_id"],
            units["outcome"],
            units["numerator"].fillna(0),
            units["denominator"].fillna(0),
            strict=True,
        )
    )


@pytest.mark.parametrize(
    ("measure", "recount"),
    [
        pytest.param("covered_time", naive.covered_time, id="covered time"),
        pytest.param("checks_on_time", naive.checks_on_time, id="checks on time"),
        pytest.param(
            "checks_on_time_grace_1.0",
            partial(naive.checks_on_time, grace=1.0),
            id="checks on time at a grace of 1 h",
        ),
    ],
)
def test_a_naive_recount_agrees_unit_by_unit(
    case: Case, measure: str, recount: "partial[Counter[tuple[str, Unit]]]"
) -> None:
    first, second = counted(case.result, measure), recount(case.folder, case.rules)
    assert first - second == Counter()
    assert second - first == Counter()
    assert first.total() > 1500


def test_a_naive_recount_finds_the_same_ends(case: Case) -> None:
    spans = naive.spans(case.folder, case.rules)
    table = case.result.infusions.set_index("infusion_id")
    table = table[table["checks"] > 0]
    found = dict(zip(table.index, table["end_kind"], strict=True))
    assert found == {name: span.kind for name, span in spans.items()}
    ends = {name: span.end for name, span in spans.items()}
    assert ends == {k: v.to_pydatetime() for k, v in table["observed_end"].items()}


LIMITS = {
    "extension_set": ("extension_set_life_h", "extension_set_grace_h"),
    "cannula": ("site_life_h", "site_grace_h"),
}


@pytest.mark.parametrize(
    ("kind", "measure", "fewest"),
    [
        pytest.param("extension_set", "lines_changed_in_time", 90, id="extension sets"),
        pytest.param("cannula", "sites_rotated_in_time", 70, id="cannulas"),
    ],
)
def test_a_naive_recount_agrees_on_every_line_of_the_table(
    case: Case, kind: str, measure: str, fewest: int
) -> None:
    units = case.result.units
    units = units[units["measure"] == measure].set_index("unit_id")
    recount = naive.replaced_in_time(case.folder, case.rules, kind, LIMITS[kind])
    assert len(recount) > fewest
    assert units.loc[list(recount), "outcome"].to_dict() == {
        name: line.outcome for name, line in recount.items()
    }


def test_a_naive_recount_agrees_on_overdue_hours(case: Case) -> None:
    units = case.result.units
    units = units[units["measure"] == "overdue_line_hours"].set_index("unit_id")
    recount = naive.replaced_in_time(
        case.folder, case.rules, "extension_set", LIMITS["extension_set"]
    )
    mine = units.loc[list(recount)]
    for column, hours in (
        ("numerator", {name: line.over for name, line in recount.items()}),
        ("denominator", {name: line.in_place for name, line in recount.items()}),
    ):
        first = mine[column].fillna(-1).to_dict()
        second = {name: -1 if h is None else h for name, h in hours.items()}
        assert first == pytest.approx(second)
    assert mine["numerator"].sum() > 0


def test_a_naive_recount_agrees_on_every_site_with_an_id(case: Case) -> None:
    units = case.result.units
    units = units[units["measure"] == "site_reactions"].set_index("unit_id")
    recount = naive.sites(case.folder, case.rules)
    assert len(recount) > 70
    assert units.loc[list(recount), "outcome"].to_dict() == {
        name: outcome for name, (outcome, _) in recount.items()
    }
    days = units.loc[list(recount), "denominator"].fillna(0).to_dict()
    assert days == pytest.approx({name: d for name, (_, d) in recount.items()})


# Contracts ---------------------------------------------------------------------------


def frame_of(result: AuditResult, table: Table) -> pd.DataFrame:
    frame = getattr(result, table.name)
    assert isinstance(frame, pd.DataFrame)
    return frame


@pytest.mark.parametrize("table", [pytest.param(t, id=t.name) for t in OUTPUT])
def test_every_table_has_the_columns_of_the_dictionary_in_order(
    case: Case, table: Table
) -> None:
    assert list(frame_of(case.result, table).columns) == table.names


@pytest.mark.parametrize("table", [pytest.param(t, id=t.name) for t in OUTPUT])
def test_a_closed_list_holds_only_its_own_words(case: Case, table: Table) -> None:
    frame = frame_of(case.result, table)
    for column in table.columns:
        said = set(frame[column.name].dropna())
        if column.kind is Kind.CHOICE:
            assert said <= {*column.choices, ""}, column.name
        if column.kind is Kind.CHOICES:
            words = {word for cell in said for word in cell.split(";")}
            assert words <= {*column.choices, ""}, column.name


def totals(units: pd.DataFrame, ward: str, period: str) -> pd.DataFrame:
    if ward != "all":
        units = units[units["ward"] == ward]
    return units if period == "all" else units[units["month"] == period]


def test_every_measure_adds_up_from_its_units(case: Case) -> None:
    result = case.result
    assert len(result.measures) > 50
    of_measures = dict(list(result.units.groupby("measure", observed=True)))
    none = result.units.iloc[:0]
    for line in result.measures.to_dict("records"):
        units = of_measures.get(line["measure"], none)
        units = totals(units, line["ward"], line["period"])
        tally = units["tally"].value_counts()
        judged = units[units["tally"] != "excluded"]
        assert len(units) == line["units"] == tally.sum()
        assert tally.get("excluded", 0) == line["excluded"]
        assert judged["numerator"].sum() == pytest.approx(line["numerator"])
        assert judged["denominator"].sum() == pytest.approx(line["denominator"])
        assert judged["patient_id"].nunique() == line["patients"]
        if line["denominator"] > 0:
            share = line["numerator"] / line["denominator"]
            assert line["proportion"] == pytest.approx(share)
            assert not line["low"] > share + 1e-9
            assert not line["high"] < share - 1e-9


def test_every_exclusion_is_counted_under_its_reason(case: Case) -> None:
    result = case.result
    for line in result.measures.to_dict("records"):
        reasons = result.exclusions[
            (result.exclusions["measure"] == line["measure"])
            & (result.exclusions["ward"] == line["ward"])
            & (result.exclusions["period"] == line["period"])
        ]
        assert reasons["units"].sum() == line["excluded"]
    units = result.units
    excluded = units["tally"] == "excluded"
    assert (units.loc[excluded, "reason"] != "").all()
    assert (units.loc[~excluded, "reason"] == "").all()
    assert units.loc[~excluded, ["numerator", "denominator"]].notna().all().all()


def test_units_and_findings_have_ids_of_their_own(case: Case) -> None:
    units, findings = case.result.units, case.result.findings
    assert not units.duplicated(["measure", "unit_id"]).any()
    assert findings["finding_id"].is_unique
    assert findings["finding_id"].str.fullmatch("[A-Z2-7]{12}").all()


def test_rates_add_up_over_wards_and_months(case: Case) -> None:
    rates = case.result.rates
    total = rates[(rates["ward"] == "all") & (rates["period"] == "all")].iloc[0]
    for one in (
        rates[(rates["ward"] == "all") & (rates["period"] != "all")],
        rates[(rates["ward"] != "all") & (rates["period"] == "all")],
        rates[(rates["ward"] != "all") & (rates["period"] != "all")],
    ):
        assert one["events"].sum() == total["events"]
        assert one["exposure_days"].sum() == pytest.approx(total["exposure_days"])
    units = case.result.units
    sites = units[units["measure"] == "site_reactions"]
    assert (sites["tally"] == "counted").sum() == total["events"]
    assert sites["denominator"].sum() == pytest.approx(total["exposure_days"])


def test_every_source_is_a_line_of_a_file(case: Case) -> None:
    result = case.result
    lines = {
        name: len((case.folder / name).read_text().splitlines()) for name in TABLES
    }
    for frame in (result.findings, result.units):
        for source in {*frame["first_source"], *frame["last_source"]}:
            file, line = source.split(":")
            assert 2 <= int(line) <= lines[file]


def equal(first: AuditResult, second: AuditResult) -> None:
    for table in OUTPUT:
        pd.testing.assert_frame_equal(frame_of(first, table), frame_of(second, table))


def test_the_same_log_audited_twice_gives_the_same_tables(demo: Case) -> None:
    equal(audited(DEMO).result, demo.result)


def test_an_audit_leaves_its_files_and_policy_alone(tmp_path: Path) -> None:
    rows = syringe({0: 16.0, 4: 13.3, 8: 13.3, 12: 8.0})
    audit(tmp_path, rows)
    before = (tmp_path / "checks.csv").read_bytes()
    policy = {f.name: getattr(POLICY, f.name) for f in fields(POLICY)}
    run_audit([tmp_path / "checks.csv"], POLICY)
    assert (tmp_path / "checks.csv").read_bytes() == before
    assert {f.name: getattr(POLICY, f.name) for f in fields(POLICY)} == policy


# Planted truth -----------------------------------------------------------------------


def test_checks_after_today_are_told_of(tmp_path: Path) -> None:
    last = audit(tmp_path, small_log()).log_end
    path = tmp_path / "checks.csv"
    for now, is_told in ((last - pd.Timedelta(hours=1), True), (last, False)):
        notes = run_audit([path], POLICY, now=now).notes
        assert any("dated after today" in note for note in notes) == is_told


def truth(folder: Path) -> pd.DataFrame:
    return pd.read_csv(folder / "truth_infusions.csv").set_index("infusion_id")


def test_planted_events_of_three_hours_are_found_where_readings_are_fine(
    case: Case,
) -> None:
    # Readings to 0.5 mL or finer: SD at mid-infusion about 0.4 mL, so 3 SD are 1.2 mL
    # or 1.8 h. Of events of 3 h or more (2.0 mL, 5 SD) nearly all should be seen, were
    # it not for those whose readings after the event are few or blank; trade toy
    # simulation: a 3-h stop is found in 95 to 99 per cent by a rule of 2 h.
    planted = truth(case.folder)
    judged = case.result.infusions.set_index("infusion_id")
    fine = case.result.noise.set_index("ward")["reading_step_ml"] <= 0.5
    fine = fine.groupby(level=0).all()
    wards = set(fine.index[fine]) - {"Sallowdene Home Team"}  # visits: too few readings
    events = planted[(planted["kind"] != "none") & (planted["hours_equivalent"] >= 3)]
    events = events[judged["ward"].reindex(events.index).isin(wards)]
    found = judged.loc[events.index, "kind"] != ""
    assert len(events) >= 4
    assert found.mean() >= 0.8, events[~found]


def test_few_uneventful_infusions_are_flagged(case: Case) -> None:
    # Three SD both sides twice in a row: below 1 per cent by the model; slips that
    # pass for an event and a rough noise model may add as much again.
    planted = truth(case.folder)
    judged = case.result.infusions.set_index("infusion_id")
    quiet = planted.index[planted["kind"] == "none"].intersection(judged.index)
    flagged = judged.loc[quiet, "kind"] != ""
    assert flagged.mean() <= 0.02, flagged[flagged].index.tolist()


def test_doubtful_readings_are_mostly_planted_slips(case: Case) -> None:
    planted = pd.read_csv(case.folder / "truth_other.csv")
    slips = planted[planted["kind"].str.startswith("slip")]
    findings = case.result.findings
    doubtful = findings[findings["kind"] == "doubtful_reading"]
    lines = {f"checks.csv:{line}" for line in slips["line"].astype(int)}
    assert len(doubtful) >= 5
    assert doubtful["first_source"].isin(lines).mean() >= 0.8


#: A reading as a delivery finding quotes it.
QUOTED = re.compile(
    r"(\d+\.\d) mL left at [^,]+, (\d+\.\d) mL (ahead of|behind) the expected "
    r"(\d+\.\d) mL"
)


def test_a_nurse_can_do_the_sum_of_each_delivery_sentence(case: Case) -> None:
    findings = case.result.findings
    of_delivery = findings[findings["group"] == FindingGroup.DELIVERY]
    found = [QUOTED.search(text) for text in of_delivery["sentence"]]
    sums = [m.groups() for m in found if m]
    assert len(sums) >= 5
    for left, off, side, expected in sums:
        signed = float(left) - float(expected)
        assert round(abs(signed), 1) == float(off)
        assert side == ("ahead of" if signed < 0 else "behind")


# Relations ---------------------------------------------------------------------------


def small_log() -> list[Row]:
    """Give a stall, a slip, an honest run and a late check, on two wards."""
    rows = syringe(
        {0: 16.0, 4: 13.3, 8: 10.7, 12: 10.7, 16: 10.7, 20: 8.0, 24: 5.3},
        entries={24: "end"},
        site_id="CN1",
        site_signs="none",
        line_id="XS1",
    )
    rows += syringe(
        {0: 16.0, 4: 13.3, 8: 13.3, 12: 8.0, 19: 3.3, 24: 0.1},
        entries={24: "end"},
        start="2026-06-02T11:13",
        infusion_id="I2",
        site_id="CN1",
        site_signs="none",
        line_id="XS2",
    )
    rows += syringe(
        {0: 15.0, 4.1: 12.4, 7.9: 10.1, 12: 7.4, 24: 0.0},
        ward="Birch Ward",
        patient_id="P2",
        infusion_id="I3",
        driver_id="D2",
        set_rate_ml_h=0.625,
        site_id="CN2",
        site_signs="redness",
        start="2026-06-01T10:41",
    )
    return rows


def test_the_small_log_holds_what_the_relations_are_about(tmp_path: Path) -> None:
    found = kinds(audit(tmp_path, small_log()))
    assert {"stall", "doubtful_reading", "check_missed"} <= set(found)


TIMES = ("checked_at", "inserted_at", "removed_at", "started_at", "ended_at")


def shifted(rows: Sequence[Row], weeks: int) -> list[Row]:
    out = []
    for row in rows:
        time = pd.Timestamp(str(row["checked_at"])).tz_convert("Europe/London")
        local = time.tz_localize(None) + timedelta(weeks=weeks)
        out.append({**row, "checked_at": local.isoformat()})
    return out


def without_times(result: AuditResult) -> dict[str, pd.DataFrame]:
    plain = {}
    for table in OUTPUT:
        drop = {"month", "finding_id", "unit_id", "sentence", "period"} | {
            c.name for c in table.columns if c.kind is Kind.TIME
        }
        frame = frame_of(result, table)
        frame = frame[~frame.get("period", pd.Series("", frame.index)).str[:2].eq("20")]
        frame = frame.drop(columns=list(drop & set(frame.columns)))
        plain[table.name] = frame.reset_index(drop=True)
    return plain


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> AuditResult:
    return audit(tmp_path_factory.mktemp("base"), small_log())


slow = settings(
    max_examples=6,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@slow
@given(weeks=st.integers(min_value=-8, max_value=18))
def test_shifting_all_times_by_weeks_moves_nothing_but_times(
    tmp_path: Path, base: AuditResult, weeks: int
) -> None:
    moved = audit(tmp_path, shifted(small_log(), weeks))
    first, second = without_times(base), without_times(moved)
    for name, frame in first.items():
        by = [c for c in ("measure", "infusion_id", "kind", "outcome") if c in frame]
        order = by or list(frame.columns[:2])
        pd.testing.assert_frame_equal(
            frame.sort_values(order, kind="stable", ignore_index=True),
            second[name].sort_values(order, kind="stable", ignore_index=True),
            obj=name,
        )


@slow
@given(order=st.permutations(range(len(small_log()))))
def test_the_order_of_rows_in_the_file_does_not_matter(
    tmp_path: Path, base: AuditResult, order: list[int]
) -> None:
    rows = small_log()
    mixed = audit(tmp_path, [rows[i] for i in order])
    for table in OUTPUT:
        drop = [n for n in table.names if n.endswith("source")]
        pd.testing.assert_frame_equal(
            frame_of(base, table).drop(columns=drop),
            frame_of(mixed, table).drop(columns=drop),
            obj=table.name,
        )


@slow
@given(cut=st.integers(min_value=1, max_value=len(small_log()) - 1))
def test_a_log_in_two_files_is_the_same_log(
    tmp_path: Path, base: AuditResult, cut: int
) -> None:
    rows = small_log()
    halves = {"b.csv": rows[:cut], "a.csv": rows[cut:]}
    paths = [write_csv(tmp_path / name, part) for name, part in halves.items()]
    split = run_audit(paths, base.policy)
    for table in OUTPUT:
        drop = [n for n in table.names if n.endswith("source")]
        pd.testing.assert_frame_equal(
            frame_of(base, table).drop(columns=drop),
            frame_of(split, table).drop(columns=drop),
            obj=table.name,
        )


@pytest.mark.parametrize(
    "factor",
    [
        pytest.param(0.5, id="half the volumes"),
        pytest.param(2.0, id="twice the volumes"),
    ],
)
def test_scaling_volumes_and_rates_together_changes_no_verdict(
    tmp_path: Path, base: AuditResult, factor: float
) -> None:
    rows = [
        {
            **row,
            "volume_remaining_ml": float(str(row["volume_remaining_ml"])) * factor,
            "set_rate_ml_h": float(str(row["set_rate_ml_h"])) * factor,
        }
        for row in small_log()
    ]
    scaled = audit(tmp_path, rows)
    assert kinds(scaled) == kinds(base)
    assert scaled.infusions["kind"].tolist() == base.infusions["kind"].tolist()
    names = ["measure", "ward", "period", "numerator", "denominator"]
    pd.testing.assert_frame_equal(scaled.measures[names], base.measures[names])


def test_renaming_a_ward_changes_its_name_only(
    tmp_path: Path, base: AuditResult
) -> None:
    rows = [{**r, "ward": f"A {r['ward']}"} for r in small_log()]
    renamed = audit(tmp_path, rows)
    for table in OUTPUT:
        first, second = frame_of(base, table), frame_of(renamed, table).copy()
        first, second = as_texts(first), as_texts(second)
        if "ward" in second:
            second["ward"] = second["ward"].str.replace(r"^A ", "", regex=True)
        if "row" not in second:
            pd.testing.assert_frame_equal(first, second, obj=table.name)


@pytest.mark.parametrize(
    "more",
    [
        pytest.param(
            syringe(
                {0: 16.0, 4: 16.0, 8: 16.0},
                ward="Alder Ward",
                patient_id="P0",
                infusion_id="I0",
                driver_id="D0",
                start="2026-05-20T09:17",
            ),
            id="another patient of the ward, earlier",
        ),
        pytest.param(
            syringe(
                {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0},
                infusion_id="I9",
                start="2026-06-03T11:41",
            ),
            id="the same patient's next syringe",
        ),
    ],
)
def test_findings_keep_their_ids_when_the_log_grows(
    tmp_path: Path, base: AuditResult, more: list[Row]
) -> None:
    grown = audit(tmp_path, small_log() + more)
    lasting = base.findings[base.findings["kind"] != "may_still_be_running"]
    mine = set(lasting["finding_id"])
    assert mine
    assert mine <= set(grown.findings["finding_id"])


# Next to nothing ---------------------------------------------------------------------


def no_volume(rows: list[Row]) -> list[Row]:
    return [{**row, "volume_remaining_ml": None} for row in rows]


def no_driver(rows: list[Row]) -> list[Row]:
    return [{**row, "driver_id": None} for row in rows]


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param(syringe({0: 16.0}), id="one row in all"),
        pytest.param(syringe({0: None}), id="one row without a volume"),
        pytest.param(syringe({4: 13.3}), id="one plain check"),
        pytest.param(syringe({0: 16.0, 4: 13.3}), id="one patient"),
        pytest.param(no_volume(small_log()), id="no volume anywhere"),
        pytest.param(no_driver(small_log()), id="no driver anywhere"),
        pytest.param(
            [{**r, "set_rate_ml_h": None} for r in small_log()], id="no rate anywhere"
        ),
        pytest.param(
            [{**r, "infusion_id": None} for r in small_log()], id="no infusion id"
        ),
        pytest.param(
            no_driver([{**r, "infusion_id": None} for r in small_log()]),
            id="neither id nor driver",
        ),
        pytest.param(
            syringe({0: 16.0, 4: 13.3}, entries={0: "pause", 4: "end"}),
            id="all time paused",
        ),
    ],
)
def test_a_log_of_next_to_nothing_is_audited_all_the_same(
    tmp_path: Path, rows: list[Row]
) -> None:
    result = audit(tmp_path, rows)
    for table in OUTPUT:
        assert list(frame_of(result, table).columns) == table.names
    assert len(result.readings) == len(rows)
    names = {"covered_time", "checks_on_time", "lines_changed_in_time"}
    whole = result.measures[
        (result.measures["ward"] == "all") & (result.measures["period"] == "all")
    ]
    assert names <= set(whole["measure"])
    nothing = whole[whole["denominator"] == 0]
    assert nothing[["proportion", "low", "high"]].isna().all().all()


def test_infusions_that_nobody_checked_are_listed_and_not_evaluable(
    tmp_path: Path,
) -> None:
    table: list[Row] = [
        {"infusion_id": "I1", "patient_id": "P1", "ward": "Alder Ward"},
        {
            "infusion_id": "I7",
            "patient_id": "P7",
            "ward": "Birch Ward",
            "driver_id": "D7",
            "started_at": "2026-06-01T10:00",
            "start_volume_ml": 16.0,
        },
        {"infusion_id": "I8", "patient_id": "P8", "ward": "Elsewhere"},
    ]
    result = audit(tmp_path, syringe({0: 16.0, 4: 13.3}), infusions=table)
    infusions = result.infusions.set_index("infusion_id")
    assert infusions["evaluable"].to_dict() == {"I1": "yes", "I7": "no", "I8": "no"}
    assert infusions.loc[["I7", "I8"], "checks"].tolist() == [0, 0]
    checks = units_of(result, "checks_on_time")
    assert set(checks["infusion_id"]) == {"I1"}
    # What nobody saw running has no hours, and is said to have none.
    hours = units_of(result, "gap_hours").set_index("infusion_id")
    assert hours["tally"].to_dict() == {"I1": "counted", "I7": "excluded"}
    assert hours.loc["I7", "reason"] == "end not recorded"


def test_the_same_file_named_twice_is_read_once(tmp_path: Path) -> None:
    path = write_csv(tmp_path / "checks.csv", small_log())
    equal(run_audit([path, path], POLICY), run_audit([path], POLICY))


@pytest.mark.parametrize(
    ("first", "last", "asked", "month", "is_part"),
    [
        ("2026-09-28", "2026-11-03", None, "2026-10", False),
        ("2026-09-28", "2026-10-31T08:00", None, "2026-10", False),
        ("2026-10-01T09:00", "2026-10-31T00:00", None, "2026-10", False),
        ("2026-10-01T09:00", "2026-10-30T23:59", None, "2026-10", True),
        ("2026-08-29", "2026-09-25", None, "2026-09", True),
        ("2026-08-20", "2026-09-25", None, "2026-08", True),
        ("2026-10-05", "2026-10-20", None, "2026-10", True),
        ("2026-09-01", "2026-11-03", "2026-11", "2026-11", True),
        ("2026-09-01", "2026-11-03", "2026-09", "2026-09", False),
    ],
    ids=[
        "a few days either side: the month between",
        "the last row within 24 h of the month's end: that month",
        "the last row exactly 24 h before the end: that month",
        "a minute earlier: the only month there is, in part",
        "three days of the month before are overlap: the latest, in part",
        "twelve days of the month before are a month, in part",
        "one month only: that, in part",
        "asked for: that, in part",
        "asked for: that, whole",
    ],
)
def test_the_month_of_the_report(
    first: str, last: str, asked: str | None, month: str, *, is_part: bool
) -> None:
    days = [*pd.date_range(first, last, freq="D"), pd.Timestamp(last)]
    times = pd.Series(days).dt.tz_localize("Europe/London")
    assert choose_month(times, asked) == (month, is_part)
