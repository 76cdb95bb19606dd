"""The generator: reproducible, honest about what it planted, and right in true time."""

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis import columns, synthetic
from analysis.columns import Kind
from analysis.synthetic import Planting, SyntheticLog, WardHabits
from analysis.terms import FindingKind

COMMITTED = Path(__file__).parents[1] / "synthetic_data"
FILES = ("checks", "infusions", "lines", "truth_infusions", "truth_other")
LONDON = ZoneInfo("Europe/London")
PERFECT = WardHabits(name="Sorrel Ward", prefix="SOR", infusions_per_month=60)
FIRST_DAY = date(2026, 6, 1)


def log_of(
    *wards: WardHabits,
    planting: Planting | None = None,
    first_day: date = FIRST_DAY,
    days: int = 30,
    seed: int = 5,
) -> SyntheticLog:
    return synthetic.make_log(
        rng=np.random.default_rng(seed),
        wards=wards or (PERFECT,),
        first_day=first_day,
        days=days,
        planting=planting or Planting(),
    )


def instants(texts: pd.Series) -> pd.Series:
    """Turn local times into UTC by the standard library, one by one."""
    aware = []
    for text in texts.tolist():
        stamp = datetime.fromisoformat(text)
        aware.append(stamp if stamp.tzinfo else stamp.replace(tzinfo=LONDON))
    return pd.Series(pd.to_datetime(aware, utc=True), index=texts.index)


def with_elapsed(log: SyntheticLog) -> pd.DataFrame:
    """Give checks with true hours since the start of their infusion, and the truth."""
    rows = log.checks.copy()
    rows["at"] = instants(rows["checked_at"])
    starts = rows[rows["entry"] == "start"].set_index("infusion_id")
    began = rows["infusion_id"].map(starts["at"])
    rows["elapsed"] = (rows["at"] - began).dt.total_seconds() / 3600
    rows["start_ml"] = rows["infusion_id"].map(starts["volume_remaining_ml"])
    rows["start_ml"] = rows["start_ml"].astype(float)
    rows["remaining"] = pd.to_numeric(rows["volume_remaining_ml"])
    rows["line"] = rows["start_ml"] * (1 - rows["elapsed"] / 24)
    return rows


@pytest.fixture(scope="module")
def demo() -> SyntheticLog:
    return synthetic.demo_log()


@pytest.fixture(scope="module")
def busy() -> SyntheticLog:
    """Give a large log of all wards with much planted in it."""
    wards = [
        replace(w, infusions_per_month=3 * w.infusions_per_month)
        for w in synthetic.WARDS
    ]
    planting = replace(synthetic.DEMO_PLANTING, event_share=0.3, slip_share=0.3)
    return log_of(*wards, planting=planting, first_day=date(2026, 10, 1))


# The committed demo log ---------------------------------------------------------------


def test_the_committed_demo_log_is_made_again_byte_for_byte(
    demo: SyntheticLog, tmp_path: Path
) -> None:
    synthetic.write_log(demo, tmp_path)
    for name in FILES:
        made = (tmp_path / f"{name}.csv").read_bytes()
        assert made == (COMMITTED / f"{name}.csv").read_bytes(), name
        assert b"\r" not in made


def test_another_seed_gives_another_log() -> None:
    assert not log_of(*synthetic.WARDS, seed=1).checks.equals(
        log_of(*synthetic.WARDS, seed=2).checks
    )


def test_the_demo_log_holds_two_whole_months_of_about_200_infusions(
    demo: SyntheticLog,
) -> None:
    months = demo.infusions["started_at"].str[:7].value_counts()
    assert set(months.index) == {"2026-08", "2026-09", "2026-10", "2026-11"}
    assert 185 <= months["2026-09"] <= 215
    assert 185 <= months["2026-10"] <= 215
    assert demo.infusions["ward"].nunique() == 6
    times = demo.checks.loc[demo.checks["checked_at"].str.startswith("2026")]
    assert times["checked_at"].max() > "2026-11-02T20:00"


def test_the_demo_log_holds_every_kind_of_event_and_slip(demo: SyntheticLog) -> None:
    kinds = {str(kind) for kind, _ in synthetic.DEMO_PLANTING.event_weights}
    assert set(demo.truth_infusions["kind"]) == kinds | {synthetic.NO_EVENT}
    slips = demo.truth_other["kind"][demo.truth_other["kind"].str.startswith("slip")]
    assert slips.nunique() == 5


def test_some_infusions_of_the_demo_log_still_run_at_its_end(
    demo: SyntheticLog,
) -> None:
    open_ended = demo.infusions[demo.infusions["ended_at"] == ""]
    assert (open_ended["started_at"] > "2026-11-02").any()
    assert (open_ended["end_reason"] == "").all()


def test_the_demo_log_is_small_enough_to_carry() -> None:
    assert sum((COMMITTED / f"{n}.csv").stat().st_size for n in FILES) < 1_200_000


# Canonical form -----------------------------------------------------------------------


@pytest.mark.parametrize("table", columns.CANONICAL, ids=lambda table: table.name)
def test_columns_and_words_are_those_of_the_dictionary(
    demo: SyntheticLog, table: columns.Table
) -> None:
    frame: pd.DataFrame = getattr(demo, table.name)
    assert list(frame.columns) == table.names
    for column in table.columns:
        found = frame.loc[frame[column.name] != "", column.name]
        if column.kind is Kind.CHOICE:
            assert set(found) <= set(column.choices), column.name
        if column.kind is Kind.CHOICES:
            assert set(found.str.split(";").explode()) <= set(column.choices)
        if column.kind is Kind.NUMBER:
            numbers = found[found != "see chart"].astype(float)
            if column.low is not None and column.high is not None:
                assert numbers.between(column.low, column.high).all(), column.name


def test_every_line_named_in_a_check_stands_in_lines(demo: SyntheticLog) -> None:
    used = pd.concat([demo.checks["line_id"], demo.checks["site_id"]])
    assert set(used) - {""} == set(demo.lines["line_id"])


def test_the_community_team_writes_changes_and_no_ids(demo: SyntheticLog) -> None:
    rows = demo.checks[demo.checks["ward"] == "Sallowdene Home Team"]
    assert (rows["line_id"] == "").all()
    assert set(rows["line_changed"]) == {"yes", "no"}
    assert set(rows["site_changed"]) == {"yes", "no"}


def test_one_ward_dates_its_lines_by_the_day_alone(demo: SyntheticLog) -> None:
    lengths = demo.lines.groupby("ward")["inserted_at"].agg(lambda t: t.str.len().max())
    assert lengths["Teasel Ward"] == 10
    assert lengths["Lapwing Ward"] >= 16


def test_driver_numbers_keep_their_leading_zeros(demo: SyntheticLog) -> None:
    assert (demo.checks["driver_id"].str.len() == 4).all()
    assert demo.checks["driver_id"].str.startswith("0").any()


def test_no_driver_is_in_two_places_at_once() -> None:
    busy_wards = (PERFECT, replace(PERFECT, name="Campion Ward", prefix="CAM"))
    log = log_of(*busy_wards, planting=Planting(second_driver_share=0.3))
    runs = log.infusions.sort_values(["driver_id", "started_at"])
    before = runs.groupby("driver_id")["ended_at"].shift().fillna("")
    assert (before <= runs["started_at"]).all()
    assert runs["driver_id"].nunique() > 2


def test_nothing_is_charted_for_a_patient_who_died(demo: SyntheticLog) -> None:
    died = demo.infusions[demo.infusions["end_reason"] == "died"]
    ends = died.set_index("patient_id")["ended_at"]
    starts = demo.infusions[demo.infusions["patient_id"].isin(ends.index)]
    assert len(ends) > 20
    assert (starts["started_at"] <= starts["patient_id"].map(ends)).all()


# Truth --------------------------------------------------------------------------------


def test_every_infusion_has_one_truth_row(busy: SyntheticLog) -> None:
    truth = busy.truth_infusions["infusion_id"]
    assert truth.is_unique
    assert set(truth) == set(busy.infusions["infusion_id"])
    assert set(truth) == set(busy.checks["infusion_id"])


def test_every_other_truth_points_at_what_stands_in_the_log(
    busy: SyntheticLog,
) -> None:
    other = busy.truth_other
    assert set(other["infusion_id"]) - {""} <= set(busy.infusions["infusion_id"])
    assert set(other["line_id"]) - {""} <= set(busy.lines["line_id"])
    placed = other[other["line"] != ""]
    rows = busy.checks.iloc[placed["line"].astype(int) - 2]
    assert (rows["infusion_id"].to_numpy() == placed["infusion_id"].to_numpy()).all()


@pytest.mark.parametrize(
    ("kind", "column"),
    [
        pytest.param("slip_copied", "volume_remaining_ml", id="copied from above"),
        pytest.param("slip_whole_ml", "volume_remaining_ml", id="whole mL off"),
        pytest.param("slip_digits", "volume_remaining_ml", id="digits swapped"),
        pytest.param("slip_decimal", "volume_remaining_ml", id="decimal slipped"),
        pytest.param("slip_time", "checked_at", id="time off by hours"),
        pytest.param("fault_volume", "volume_remaining_ml", id="unreadable volume"),
        pytest.param("fault_time", "checked_at", id="unreadable time"),
        pytest.param("awkward_note", "note", id="note like a formula or markup"),
    ],
)
def test_the_file_line_of_a_slip_or_fault_holds_what_was_written(
    busy: SyntheticLog, kind: str, column: str
) -> None:
    planted = busy.truth_other[busy.truth_other["kind"] == kind]
    cells = busy.checks[column].iloc[planted["line"].astype(int) - 2]
    assert len(planted) > 0
    assert list(cells) == list(planted["written"])
    assert (planted["written"] != planted["truth"]).all()


def test_a_site_reaction_is_written_where_the_truth_says_it_was_first_seen(
    busy: SyntheticLog,
) -> None:
    planted = busy.truth_other[busy.truth_other["kind"] == "site_reaction"]
    rows = busy.checks.iloc[planted["line"].astype(int) - 2]
    assert len(planted) > 10
    assert list(rows["site_signs"]) == list(planted["truth"])
    ids = rows["site_id"] != ""
    assert list(rows["site_id"][ids]) == list(planted["line_id"][ids.to_numpy()])
    assert (instants(planted["began"]) <= instants(planted["ended"])).all()


def test_the_extension_sets_of_the_truth_are_those_over_72_h(
    demo: SyntheticLog,
) -> None:
    sets = demo.lines[demo.lines["kind"] == "extension_set"]
    timed = sets[(sets["ward"] != "Teasel Ward") & (sets["removed_at"] != "")]
    age = instants(timed["removed_at"]) - instants(timed["inserted_at"])
    over = set(timed.loc[age > pd.Timedelta(hours=72), "line_id"])
    other = demo.truth_other
    planted = set(other.loc[other["kind"] == "line_overdue", "line_id"])
    assert len(over) > 3
    assert planted & set(timed["line_id"]) == over


def test_an_exact_duplicate_follows_its_original(demo: SyntheticLog) -> None:
    planted = demo.truth_other[demo.truth_other["kind"] == "fault_duplicate"]
    lines = planted["line"].astype(int).to_numpy() - 2
    assert len(lines) == synthetic.DEMO_PLANTING.exact_duplicates
    assert (
        demo.checks.iloc[lines].to_numpy() == demo.checks.iloc[lines - 1].to_numpy()
    ).all()


def test_a_perfect_ward_with_nothing_planted_has_no_truth_to_tell() -> None:
    log = log_of()
    assert len(log.infusions) > 40
    assert set(log.truth_infusions["kind"]) == {synthetic.NO_EVENT}
    assert log.truth_other.empty


@pytest.mark.parametrize("share", [0.0, 0.12, 1.0])
def test_the_share_of_events_is_the_one_asked_for(share: float) -> None:
    many = replace(PERFECT, infusions_per_month=1500)
    log = log_of(many, planting=Planting(event_share=share), seed=11)
    # On a perfect ward every infusion that ended within the log may have an event.
    may = log.infusions.loc[log.infusions["ended_at"] != "", "infusion_id"]
    truth = log.truth_infusions.set_index("infusion_id")["kind"]
    events = int((truth[may] != synthetic.NO_EVENT).sum())
    low, high = stats.binom.interval(0.9999, len(may), share)
    assert low <= events <= high
    assert events == int((truth != synthetic.NO_EVENT).sum())


def test_the_kinds_of_event_come_in_the_shares_asked_for() -> None:
    many = replace(PERFECT, infusions_per_month=1500)
    log = log_of(many, planting=Planting(event_share=1.0), seed=12)
    kinds = log.truth_infusions["kind"].value_counts().drop(synthetic.NO_EVENT)
    weights = {str(kind): weight for kind, weight in Planting().event_weights}
    expected = pd.Series(weights) * kinds.sum()
    assert stats.chisquare(kinds.reindex(expected.index), expected).pvalue > 1e-4


def test_the_share_of_slips_is_the_one_asked_for() -> None:
    many = replace(PERFECT, infusions_per_month=1500)
    log = log_of(many, planting=Planting(slip_share=0.1), seed=13)
    plain = log.checks[log.checks["entry"] == "check"]
    slips = log.truth_other["kind"].str.startswith("slip").sum()
    low, high = stats.binom.interval(0.9999, plain["infusion_id"].nunique(), 0.1)
    assert low <= slips <= high


def test_no_reading_is_below_zero_or_above_the_barrel(busy: SyntheticLog) -> None:
    size = busy.infusions.set_index("infusion_id")["syringe_size_ml"].astype(float)
    for column in ("volume_remaining_ml", "volume_delivered_ml"):
        ml = pd.to_numeric(busy.checks[column].replace("see chart", ""))
        barrel = busy.checks["infusion_id"].map(size)
        assert ml.notna().sum() > 500
        assert ml.dropna().ge(0).all()
        assert ml.dropna().le(barrel[ml.notna()]).all()


# The volume curve ---------------------------------------------------------------------


def test_a_perfect_ward_reads_the_line() -> None:
    rows = with_elapsed(log_of())
    assert len(rows) > 300
    np.testing.assert_allclose(rows["remaining"], rows["line"], atol=0.0005 + 1e-9)


def test_the_reference_infusion_leaves_the_volumes_of_the_trade() -> None:
    """Check 16.0 mL over 24 h, read to 0.1 mL (arithmetic of the trade)."""
    log = log_of(replace(PERFECT, reading_step_ml=0.1, start_volumes_ml=(16.0,)))
    # The start is read to 0.1 mL too; where the barrel truly held 16.0 mL:
    truth = log.truth_infusions
    near = truth.loc[truth["start_offset_ml"].astype(float).abs() < 0.016]
    rows = with_elapsed(log)
    rows = rows[rows["infusion_id"].isin(near["infusion_id"])]
    found = rows.groupby("elapsed")["volume_remaining_ml"].unique().map(list)
    assert found.loc[[4.0, 8.0, 12.0, 16.0, 20.0]].tolist() == [
        ["13.3"],
        ["10.7"],
        ["8"],
        ["5.3"],
        ["2.7"],
    ]
    assert set(rows["set_rate_ml_h"]) == {"0.67"}


def test_a_stall_leaves_its_volume_in_the_truth_and_in_the_readings() -> None:
    stalls = Planting(event_share=1.0, event_weights=((FindingKind.STALL, 1.0),))
    log = log_of(planting=stalls)
    truth = log.truth_infusions.set_index("infusion_id")
    truth = truth[truth["kind"] == "stall"]
    onset, ended = instants(truth["onset"]), instants(truth["ended"])
    volume = truth["volume_ml"].astype(float)
    # 16.0 mL over 24 h: every hour without movement is 16/24 mL.
    length = (ended - onset).dt.total_seconds() / 3600
    np.testing.assert_allclose(volume, -length * 16 / 24, atol=16 / 24 / 60 + 0.001)
    np.testing.assert_allclose(
        truth["hours_equivalent"].astype(float), length, atol=1 / 60 + 0.001
    )
    rows = with_elapsed(log)
    rows = rows[rows["infusion_id"].isin(truth.index) & (rows["elapsed"] <= 24)]
    behind = rows["remaining"] - rows["line"]
    ids = rows["infusion_id"]
    is_before = rows["at"] < ids.map(onset)
    is_after = rows["at"] > ids.map(ended)
    assert is_before.sum() > 50
    assert is_after.sum() > 50
    np.testing.assert_allclose(behind[is_before], 0, atol=0.001)
    np.testing.assert_allclose(
        behind[is_after], -ids.map(volume)[is_after], atol=0.0015
    )


@pytest.mark.parametrize(
    ("kind", "sign"),
    [
        pytest.param(FindingKind.STALL_TO_END, -1, id="a stall to the end is behind"),
        pytest.param(FindingKind.SLOW, -1, id="slow delivery is behind"),
        pytest.param(FindingKind.VOLUME_RISE, -1, id="a refill reads as behind"),
        pytest.param(FindingKind.OVER_DELIVERY, 1, id="over-delivery is ahead"),
        pytest.param(FindingKind.SURGE, 1, id="a surge is ahead"),
    ],
)
def test_the_truth_of_an_event_is_the_largest_departure_of_the_curve(
    kind: FindingKind, sign: int
) -> None:
    log = log_of(planting=Planting(event_share=1.0, event_weights=((kind, 1.0),)))
    truth = log.truth_infusions.set_index("infusion_id")
    volume = truth.loc[truth["kind"] == str(kind), "volume_ml"].astype(float)
    assert (sign * volume > 0).all()
    assert (volume.abs() <= 16.0).all()
    rows = with_elapsed(log)
    rows = rows[rows["infusion_id"].isin(volume.index)]
    departure = (rows["line"] - rows["remaining"]) * sign
    largest = departure.groupby(rows["infusion_id"]).max()
    # Readings see the largest departure or less of it, by at most one interval's flow.
    assert (largest <= volume.abs() + 0.0015).all()
    assert (largest > 0).mean() > 0.9


# True time ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "wall_hours"),
    [
        pytest.param(date(2026, 10, 24), 23.0, id="clocks go back: 24 h end at 23 h"),
        pytest.param(date(2026, 3, 28), 25.0, id="clocks go forward: 24 h end at 25 h"),
        pytest.param(date(2026, 6, 6), 24.0, id="no change: 24 h end at 24 h"),
    ],
)
def test_an_infusion_over_a_change_of_the_clocks_runs_24_true_hours(
    day: date, wall_hours: float
) -> None:
    log = log_of(first_day=day, days=3)
    begun = log.infusions[log.infusions["started_at"].str[:10] == day.isoformat()]
    wall = pd.to_datetime(begun["ended_at"]) - pd.to_datetime(begun["started_at"])
    assert len(begun) > 0
    assert set(wall.dt.total_seconds() / 3600) == {wall_hours}
    rows = with_elapsed(log)
    rows = rows[rows["infusion_id"].isin(begun["infusion_id"])]
    np.testing.assert_allclose(rows["remaining"], rows["line"], atol=0.0005 + 1e-9)
    assert rows["elapsed"].max() == 24.0


def test_only_times_in_the_hour_that_comes_twice_carry_an_offset(
    demo: SyntheticLog,
) -> None:
    times = demo.checks["checked_at"]
    offset = times[times.str.len() == 22]
    in_hour = times[times.str.startswith("2026-10-25T01")]
    assert set(offset.str[-6:]) == {"+01:00", "+00:00"}
    assert offset.index.equals(in_hour.index)
