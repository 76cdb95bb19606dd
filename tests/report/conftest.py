"""A small audit made by hand: every kind of finding, several wards, two months."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.columns import (
    COMPARISONS,
    DRIVERS,
    EXCLUSIONS,
    FINDINGS,
    INFUSION_RESULTS,
    MEASURES,
    RATES,
    READINGS,
    REJECTED,
    SET_ASIDE,
    TRENDS,
    UNITS,
    Kind,
    Table,
)
from analysis.compliance import Units
from analysis.delivery import Threshold
from analysis.intervals import poisson_exact, wilson
from analysis.policy import Policy

MONTHS = ("2026-09", "2026-10")
WARDS = ("Alder ward", "Birch ward", "Community team North", "Willow hospice")
HOSTILE_WARD = "=1+1 <script>alert('ward')</script>"
HOSTILE_NOTE = '"><img src=x onerror=alert(1)>\r\n=cmd|x \N{BULLET}, "quoted"'
ZONE = "Europe/London"

RATE = 16 / 24
HOURS = (0.0, 3.9, 8.1, 12.0, 16.2, 20.0, 23.6)

# Volume remaining of each planted infusion, at HOURS; the honest line is None.
SHAPES: dict[str, tuple[float, ...] | None] = {
    "stall": (16.0, 13.4, 10.6, 10.6, 10.6, 8.0, 5.6),
    "stall_to_end": (16.0, 13.4, 10.6, 9.3, 9.3, 9.3, 9.3),
    "slow": (16.0, 13.9, 11.6, 9.6, 7.3, 5.3, 3.3),
    "over_delivery": (16.0, 11.6, 7.0, 2.6, 0.3, 0.0, 0.0),
    "surge": (16.0, 13.4, 6.0, 3.4, 0.6, 0.0, 0.0),
    "volume_rise": (16.0, 13.4, 10.6, 14.8, 12.0, 9.5, 7.1),
    "doubtful_reading": (16.0, 13.4, 13.4, 8.0, 5.2, 2.7, 0.3),
    "doubtful_rate": None,
    "volumes_disagree": None,
    "row_after_end": None,
    "entry_error": None,
    "near_duplicate": None,
    "start_offset": (16.0, 12.9, 10.1, 7.5, 4.7, 2.2, 0.0),
    "set_rate_differs": None,
    "scale_and_display": None,
    "may_still_be_running": None,
    "check_missed": None,
    "line_overdue": None,
    "site_reaction": None,
    "no_syringe_running": None,
    "changed_late": None,
    "site_overdue": None,
}
GROUPS = {
    **dict.fromkeys(
        ("stall", "stall_to_end", "slow", "over_delivery", "surge", "volume_rise"),
        "delivery",
    ),
    **dict.fromkeys(
        (
            "doubtful_reading",
            "doubtful_rate",
            "volumes_disagree",
            "row_after_end",
            "entry_error",
            "near_duplicate",
        ),
        "charting",
    ),
    "start_offset": "set_up",
    "set_rate_differs": "set_up",
    "scale_and_display": "set_up",
    "may_still_be_running": "continuity",
    "no_syringe_running": "continuity",
    "changed_late": "continuity",
    "site_overdue": "line",
    "check_missed": "check",
    "line_overdue": "line",
    "site_reaction": "site",
}
_WINDOW = {
    "stall": (8.1, 12.0, 16.2, 20.0),
    "stall_to_end": (8.1, 12.0, None, None),
    "surge": (3.9, 3.9, 8.1, 8.1),
    "volume_rise": (8.1, 12.0, 12.0, 12.0),
}


@dataclass
class Rows:
    """Rows gathered table by table."""

    findings: list[dict[str, Any]] = field(default_factory=list)
    infusions: list[dict[str, Any]] = field(default_factory=list)
    readings: list[dict[str, Any]] = field(default_factory=list)


def frame_of(table: Table, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """Make a frame of a table's columns and types; what a row lacks is missing."""
    frame = pd.DataFrame(rows, columns=pd.Index(table.names))
    for column in table.columns:
        values = frame[column.name]
        if column.kind is Kind.TIME:
            times = pd.to_datetime(values, utc=True)
            frame[column.name] = times.dt.tz_convert(ZONE)
        elif column.kind is Kind.COUNT:
            frame[column.name] = pd.to_numeric(values).astype("int64")
        elif column.kind is Kind.NUMBER:
            frame[column.name] = pd.to_numeric(values).astype("float64")
        else:
            frame[column.name] = values.astype("str")
    return frame


def add_infusion(
    rows: Rows, kind: str, number: int, ward: str, started: pd.Timestamp
) -> None:
    """Add one infusion of seven rows, and its finding where `kind` is not empty."""
    infusion = f"INF-{started:%y%m}-{number:03}"
    expected = np.maximum(16 - RATE * np.array(HOURS), 0)
    shape = SHAPES.get(kind)
    wobble = 0.1 * ((np.arange(len(HOURS)) * 7 + number) % 3 - 1)
    wobble[0] = 0
    observed = np.maximum(np.round(expected + wobble, 1), 0) if shape is None else shape
    moments = [started + pd.Timedelta(hours=h) for h in HOURS]
    line = 2 + len(rows.readings)
    common = {
        "month": f"{started:%Y-%m}",
        "ward": ward,
        "patient_id": f"P{number % 9:03}",
        "infusion_id": infusion,
        "driver_id": f"D-{number % 5:02}",
    }
    rows.readings += [
        {
            **common,
            "source": f"checks.csv:{line + i}",
            "entry": "start" if i == 0 else "check",
            "checked_at": moments[i],
            "set_rate_ml_h": RATE,
            "volume_remaining_ml": observed[i],
            "battery_pct": 90 - i,
            "site_signs": "none",
            "elapsed_h": HOURS[i],
            "expected_ml": expected[i],
            "residual_ml": observed[i] - expected[i],
            "sd_ml": 0.15 + 0.01 * i,
            "doubtful": "yes" if kind == "doubtful_reading" and i == 2 else "no",
        }
        for i in range(len(HOURS))
    ]
    is_delivery = GROUPS.get(kind) == "delivery"
    rows.infusions.append(
        {
            **common,
            "started_at": moments[0],
            "observed_end": moments[-1],
            "end_kind": "end not recorded" if number % 17 == 0 else "end row",
            "start_volume_ml": 16.0,
            "set_rate_ml_h": RATE,
            "checks": len(HOURS),
            "evaluable": "no" if number % 13 == 0 else "yes",
            "reason": "no volume reading" if number % 13 == 0 else "set rate",
            "kind": kind if is_delivery else None,
        }
    )
    if kind:
        off = float(
            (expected - np.array(observed))[
                int(np.argmax(np.abs(expected - np.array(observed))))
            ]
        )
        rows.findings.append({**common, **finding(kind, number, off, started, line)})


def finding(
    kind: str, number: int, off: float, started: pd.Timestamp, line: int
) -> dict[str, Any]:
    """Make the finding's own columns; volumes only where it is about delivery."""
    window = _WINDOW.get(kind, (0.0, 3.9, 23.6, 23.6))
    times = [None if h is None else started + pd.Timedelta(hours=h) for h in window]
    is_delivery = GROUPS[kind] == "delivery"
    hours = off / RATE if is_delivery else 3.0 + number % 5
    return {
        "finding_id": f"{kind[:6].upper()}{started:%m}{number:04}",
        "group": GROUPS[kind],
        "kind": kind,
        "event_probability": 0.9 if is_delivery else None,
        "began_earliest": times[0],
        "began_latest": times[1],
        "ended_earliest": times[2],
        "ended_latest": times[3],
        "first_visible": started + pd.Timedelta(hours=12),
        "volume_ml": off if is_delivery else None,
        "volume_low_ml": off - 0.4 if is_delivery else None,
        "volume_high_ml": off + 0.4 if is_delivery else None,
        "hours_equivalent": hours,
        "first_source": f"checks.csv:{line}",
        "last_source": f"checks.csv:{line + 6}",
        "sentence": f"The record is consistent with {kind.replace('_', ' ')} "
        f"from {started:%d %b %H:%M}.",
    }


def ward_tables(wards: tuple[str, ...]) -> dict[str, pd.DataFrame]:
    """Make measures, comparisons, exclusions and rates that agree with each other."""
    measures, exclusions, rates = [], [], []
    for place, ward in enumerate([*wards, "all"]):
        for period in [*MONTHS, "all"]:
            size = (4 * len(wards) if ward == "all" else 3 + place) * 6
            for measure, share in (
                ("covered_time", 0.93),
                ("checks_on_time", 0.84),
                ("checks_on_time_grace_1.0", 0.9),
                ("lines_changed_in_time", 0.75),
            ):
                n = (
                    size
                    if measure != "lines_changed_in_time"
                    else max(size // 6 - 3, 0)
                )
                excluded = 2 if measure == "lines_changed_in_time" else 0
                measures.append(
                    {
                        "measure": measure,
                        "ward": ward,
                        "period": period,
                        "units": n + excluded,
                        "numerator": float(round(share * n)),
                        "denominator": float(n),
                        "excluded": excluded,
                        "patients": n // 3,
                    }
                )
                if excluded:
                    exclusions.append(
                        {
                            "measure": measure,
                            "ward": ward,
                            "period": period,
                            "reason": "never due",
                            "units": excluded,
                        }
                    )
            rates.append(
                {
                    "measure": "site_reactions",
                    "ward": ward,
                    "period": period,
                    "events": place,
                    "exposure_days": 20.5 + place,
                    "patients": 7,
                }
            )
    return {
        **_with_limits(measures),
        **_rates(rates),
        "exclusions": frame_of(EXCLUSIONS, exclusions),
    }


def _with_limits(rows: list[dict[str, Any]]) -> dict[str, pd.DataFrame]:
    table = frame_of(MEASURES, rows)
    table["low"], table["high"] = wilson(
        table["numerator"].to_numpy(), table["denominator"].to_numpy()
    )
    table["proportion"] = table["numerator"] / table["denominator"].where(
        table["denominator"] > 0
    )
    shown = np.select(
        [table["denominator"] == 0, table["patients"] < 5],
        ["nothing due", "counts only"],
        "proportion",
    )
    comparisons = table.assign(shown=shown).reindex(columns=COMPARISONS.names)
    comparisons["different"] = comparisons["different"].astype("str")
    hidden = comparisons["shown"] != "proportion"
    comparisons.loc[hidden, ["proportion", "low", "high"]] = np.nan
    return {
        "measures": table,
        "comparisons": comparisons,
        "trends": _trends(comparisons),
    }


def _trends(comparisons: pd.DataFrame) -> pd.DataFrame:
    """Make the plain lines of the months that are shown."""
    lines = comparisons[comparisons["period"] != "all"]
    columns = ["measure", "ward", "month", "numerator", "denominator", "proportion"]
    lines = lines.rename(columns={"period": "month"})[columns]
    lines = lines.assign(part=1, chart="line").sort_values(columns[:3])
    return frame_of(
        TRENDS,
        [
            dict(zip(lines.columns, row, strict=True))
            for row in lines.itertuples(index=False)
        ],
    )


def _rates(rows: list[dict[str, Any]]) -> dict[str, pd.DataFrame]:
    table = frame_of(RATES, rows)
    events, days = table["events"].to_numpy(), table["exposure_days"].to_numpy()
    low, high = poisson_exact(events, days)
    table["rate_per_1000"] = 1000 * events / days
    table["low"], table["high"] = 1000 * low, 1000 * high
    return {"rates": table}


def ledger(table: Table, count: int) -> pd.DataFrame:
    """Make rows of a ledger."""
    return frame_of(
        table,
        [
            {
                "source": f"checks.csv:{900 + i}",
                "column": "checked_at",
                "value": "31/02/2026 10:00" if i else HOSTILE_NOTE,
                "reason": "time not readable",
                "sentence": "The time is not a date of the calendar; correct the row.",
                "row": HOSTILE_NOTE if i == 0 else "Alder ward,P001,31/02/2026 10:00",
            }
            for i in range(count)
        ],
    )


DRIVER_ROWS: list[dict[str, Any]] = [
    {
        "driver_id": driver,
        "infusions": count,
        "with_event": 1,
        "not_pooled": 0,
        "pooled_factor": factor,
        "flow_factor": factor,
        "flow_factor_low": factor - 0.01,
        "flow_factor_high": factor + 0.01,
        "outside": outside,
        "sentence": f"Over {count} infusions.",
    }
    for driver, count, factor, outside in (
        ("D0001", 12, 1.0, "no"),
        ("D0002", 9, 1.09, "yes"),
    )
]


def make_result(
    wards: tuple[str, ...] = WARDS, *, is_hostile: bool = False, plain: int = 6
) -> AuditResult:
    """Make an audit of two months; a hostile one has text that must stay text."""
    wards = (*wards, HOSTILE_WARD) if is_hostile else wards
    rows = Rows()
    number = 0
    for month in MONTHS:
        first = pd.Timestamp(f"{month}-02 09:40", tz=ZONE)
        for kind in [*SHAPES, *[""] * plain * len(wards)]:
            number += 1
            ward = wards[number % len(wards)]
            # 25 October 2026: the clocks go back in this zone.
            started = first + pd.Timedelta(hours=23 * (number % 26))
            add_infusion(rows, kind, number, ward, started)
    if is_hostile:
        rows.findings[0]["sentence"] = HOSTILE_NOTE
        rows.findings[-1]["sentence"] = HOSTILE_NOTE
        rows.readings[3]["note"] = HOSTILE_NOTE
        rows.readings[4]["note"] = "'=already guarded"
        rows.readings[5]["note"] = "\tstarts with a tab"
    readings = frame_of(READINGS, rows.readings)
    return AuditResult(
        month=MONTHS[-1],
        is_part_of_month=False,
        log_start=readings["checked_at"].min(),
        log_end=readings["checked_at"].max(),
        policy=Policy.example(),
        account=pd.DataFrame(
            {
                "file": ["checks.csv", "lines.csv"],
                "table": ["checks", "lines"],
                "sha256": ["ab" * 32, "cd" * 32],
                "rows_read": [len(readings) + 36, 40],
                "accepted": [len(readings), 40],
                "rejected": [30, 0],
                "superseded": [4, 0],
                "exact_duplicates": [2, 0],
                "other_lines": [1, 1],
            }
        ),
        noise=pd.DataFrame(
            {
                "ward": list(wards),
                "source": "remaining",
                "readings": 300,
                "reading_step_ml": 0.1,
                "start_step_ml": 0.1,
                "time_step_min": 5.0,
                "reading_error_ml": 0.05,
                "offset_ml": -0.1,
                "offset_sd_ml": 0.2,
                "flow_sd": 0.02,
                "slip_share": 0.015,
                "event_share": 0.05,
                "shortest_stall_h": [2.5, *[np.nan] * (len(wards) - 1)],
            }
        ),
        threshold=Threshold(
            probability=0.35,
            wanted_per_1000=10.0,
            drawn=4000,
            false_per_1000=10.0,
            false_se=1.6,
        ),
        not_in_export={
            "box_locked": "Not in this export: its checks have no lockbox_locked."
        },
        notes=("No infusion id had to be derived.", "Times read as local time."),
        qualifiers=pd.DataFrame(
            {
                "column": ["volume_remaining_ml", "battery_pct"],
                "qualifier": ["approximate", "range"],
                "cells": [12, 1],
                "source": ["checks.csv:7", "checks.csv:9"],
                "value": ["~13,3", "80-90"],
            }
        ),
        findings=frame_of(FINDINGS, rows.findings),
        infusions=frame_of(INFUSION_RESULTS, rows.infusions),
        readings=readings,
        drivers=frame_of(DRIVERS, DRIVER_ROWS),
        unit_tables=Units.read(
            frame_of(
                UNITS,
                [
                    {
                        "measure": "checks_on_time",
                        "unit_id": "U1",
                        "month": MONTHS[-1],
                        "ward": wards[0],
                        "due_at": readings["checked_at"].iloc[1],
                        "outcome": "on time",
                        "tally": "counted",
                        "numerator": 1.0,
                        "denominator": 1.0,
                    }
                ],
            )
        ),
        rejected=ledger(REJECTED, 30),
        set_aside=ledger(SET_ASIDE, 2),
        **ward_tables(wards),
    )


@pytest.fixture(scope="session")
def result() -> AuditResult:
    return make_result()


@pytest.fixture(scope="session")
def hostile() -> AuditResult:
    return make_result(is_hostile=True)


@pytest.fixture(scope="session")
def empty(result: AuditResult) -> AuditResult:
    """Give an audit whose log has rows and whose month has no finding and no figure."""
    nothing = {
        name: getattr(result, name).iloc[:0]
        for name in (
            "findings",
            "infusions",
            "readings",
            "drivers",
            "measures",
            "exclusions",
            "rates",
            "comparisons",
            "trends",
            "rejected",
            "set_aside",
            "noise",
        )
    }
    no_units = Units.read(result.units.iloc[:0])
    return replace(result, not_in_export={}, notes=(), unit_tables=no_units, **nothing)


@pytest.fixture(scope="session")
def built() -> Callable[..., AuditResult]:
    return make_result


@pytest.fixture(scope="session")
def hostile_note() -> str:
    return HOSTILE_NOTE


@pytest.fixture(scope="session")
def hostile_ward() -> str:
    return HOSTILE_WARD
