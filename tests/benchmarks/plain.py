"""The plain ways that the benchmarks stand beside: right for nobody, and fast.

Each asks the same of the same tables, with none of the rules for edges and for chance.
"""

from collections.abc import Sequence
from pathlib import Path

import pandas as pd
import pyarrow as pa
from pyarrow import csv as pa_csv

from analysis.audit import AuditResult
from analysis.columns import OUTPUT
from analysis.intake import Log

#: Columns of the record, each a measure of its own.
RECORDED = ("site_signs", "solution_appearance", "battery_pct", "checked_by")
YES_NO = ("lockbox_locked", "label_present")


def read_plainly(exports: Sequence[Path]) -> int:
    """Read files and look at nothing in them; give the number of rows."""
    return sum(len(pa_csv.read_csv(path)) for path in exports)


#: Only what the rule needs is copied.
_LOOKED_AT = ["infusion_id", "checked_at", "volume_remaining_ml", "set_rate_ml_h"]


def plain_table(log: Log) -> pd.DataFrame:
    """Give the columns of checks that the rule needs, as pandas itself holds them."""
    table = log.checks[_LOOKED_AT].copy()
    table["infusion_id"] = pd.Series(list(table["infusion_id"]), dtype="str")
    return table


def off_the_line(checks: pd.DataFrame) -> pd.Series:
    """Flag infusions with a reading more than a tenth of the fill off the line."""
    rows = checks[checks["infusion_id"] != ""]
    by = rows.groupby("infusion_id")
    start = by["volume_remaining_ml"].transform("first")
    rate = by["set_rate_ml_h"].transform("first")
    hours = (
        rows["checked_at"] - by["checked_at"].transform("first")
    ).dt.total_seconds()
    line = (start - rate * hours / 3600).clip(lower=0)
    off = (rows["volume_remaining_ml"] - line).abs() > 0.1 * start
    flagged: pd.Series = off.groupby(rows["infusion_id"]).any()
    return flagged


def plain_means(log: Log) -> list[pd.DataFrame | pd.Series]:
    """Give every measure as a mean by ward and month, with none of the edge rules."""
    rows = log.checks
    month = rows["checked_at"].dt.strftime("%Y-%m")
    by = [rows["ward"], month]
    gap = rows.groupby("infusion_id")["checked_at"].diff().dt.total_seconds() / 3600
    left, rate = rows["volume_remaining_ml"], rows["set_rate_ml_h"]
    fell = left.groupby(rows["infusion_id"]).diff()
    truth = {
        "checks_on_time": gap <= 4.5,
        "checks_on_time_grace_1.0": gap <= 5.0,
        "volume_recorded": left.notna(),
        **{name: rows[name].notna() & (rows[name] != "") for name in RECORDED},
        **{name: rows[name] == "yes" for name in YES_NO},
        "exact_hour": rows["checked_at"].dt.minute == 0,
        "round_volume": (left * 10).round() % 5 == 0,
        "copied_reading": fell == 0,
        "copied_row": (fell == 0) & (rate.groupby(rows["infusion_id"]).diff() == 0),
        "written_late": rows["recorded_at"] - rows["checked_at"] > pd.Timedelta("1h"),
    }
    found = [values.groupby(by).mean() for values in truth.values()]
    found.append(gap.clip(upper=4.5).groupby(by).sum() / gap.groupby(by).sum())
    runs = log.infusions
    each = [runs["ward"], runs["started_at"].dt.strftime("%Y-%m")]
    first = rows.groupby("infusion_id")[["set_rate_ml_h", "checked_at"]].first()
    planned = first["set_rate_ml_h"] * runs["planned_duration_h"]
    ordered = runs.sort_values(["patient_id", "started_at"])
    between = ordered.groupby("patient_id")["started_at"].diff().dt.total_seconds()
    truth = {
        "set_rate_matches": (planned / runs["start_volume_ml"] - 1).abs() < 0.05,
        "start_volume_in_window": runs["made_up_to_ml"].between(15, 16),
        "syringe_size_ok": runs["syringe_size_ml"] == 20,
        "syringe_changed_in_time": between <= 25 * 3600,
    }
    return [*found, *(values.groupby(each).mean() for values in truth.values())]


def plain_rate(log: Log) -> pd.Series:
    """Give sites with a sign over the days that they are seen, by ward and month."""
    rows = log.checks[["site_id", "ward", "checked_at"]]
    signs = log.checks["site_signs"]
    rows = rows.assign(seen=signs.notna() & ~signs.isin(["", "none"]))
    by = rows.groupby("site_id")
    sites = by.agg(
        ward=("ward", "first"),
        first=("checked_at", "first"),
        last=("checked_at", "last"),
        seen=("seen", "any"),
    )
    days = (sites["last"] - sites["first"]).dt.total_seconds() / 86400
    each = [sites["ward"], sites["first"].dt.strftime("%Y-%m")]
    rate: pd.Series = sites["seen"].groupby(each).sum() / days.groupby(each).sum()
    return rate


def write_plainly(result: AuditResult, folder: Path) -> None:
    """Write the output tables as they are, with no decimals and no words decided."""
    folder.mkdir(exist_ok=True)
    for table in OUTPUT:
        frame = pa.Table.from_pandas(getattr(result, table.name), preserve_index=False)
        pa_csv.write_csv(frame, folder / f"{table.name}.csv")
