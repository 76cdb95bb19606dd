"""Sample exports against what a perfect intake makes of them, cell by cell.

Set STEADYFALL_SAMPLES to a folder of exports with a ``key`` folder each; without it
these tests are skipped. Every export is read with the layout that is printed for it,
with the answers in `ANSWERS` put in place of its questions and nothing else changed.
Lines that a key calls undecided are left out of the count.
"""

import csv
import math
import os
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from analysis.columns import CHECKS, INFUSIONS, LINES, Kind
from analysis.intake import Log, read_exports
from analysis.intake.exports import read_raws
from analysis.intake.layout import Layout
from analysis.intake.layout_file import parse_layout
from analysis.intake.layout_text import to_toml
from analysis.intake.recognise import propose_all
from analysis.policy import Policy

SAMPLES = os.environ.get("STEADYFALL_SAMPLES", "")
pytestmark = pytest.mark.skipif(not SAMPLES, reason="STEADYFALL_SAMPLES is not set")

#: What a person answers to the questions of each layout, as the key's notes say.
ANSWERS = {
    "d": [('"✓" = "?"', '"✓" = "none"'), ('x = "?"', 'x = "no"')],
    "e": [('patient_id = "?"', "patient_id = 4")],
}
NO_LAYOUT_NEEDED = ["a", "b"]

_LABELS = ("infusion_id", "line_id", "site_id")


@dataclass
class Score:
    """Cells that agree, cells compared, and the first that do not."""

    agree: int = 0
    cells: int = 0
    wrong: list[str] | None = None

    def add(self, where: str, want: str, got: str) -> None:
        """Count one cell, and keep it where it differs."""
        self.cells += 1
        if want == got:
            self.agree += 1
        else:
            self.wrong = [*(self.wrong or []), f"{where}: want {want!r}, got {got!r}"]


def rows_of(path: Path) -> list[dict[str, str]]:
    if not path.exists():
        return []
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def exports_of(sample: str) -> list[Path]:
    return sorted(p for p in (Path(SAMPLES) / sample).iterdir() if p.is_file())


def layout_for(sample: str) -> Layout:
    text = to_toml(propose_all(read_raws(exports_of(sample))))
    for question, answer in ANSWERS.get(sample, []):
        assert question in text
        text = text.replace(question, answer)
    return parse_layout(text, sample)


def log_of(sample: str) -> Log:
    return read_exports(exports_of(sample), Policy.example(), layout_for(sample))


def plain(value: object) -> str:
    """Give a cell in one form: numbers without tail, times as instants or days."""
    if value is None or value is pd.NA or value is pd.NaT:
        return ""
    if isinstance(value, float) and math.isnan(value):
        return ""
    if isinstance(value, pd.Timestamp):
        return value.tz_convert("UTC").isoformat()
    text = str(value).strip()
    try:
        return f"{round(float(text), 3):g}" if text else ""
    except ValueError:
        return text.casefold()


def key_cell(value: str, kind: Kind, zone: ZoneInfo) -> str:
    if value and kind in (Kind.TIME, Kind.DAY_OR_TIME):
        time = pd.Timestamp(value)
        if len(value) == 10 and kind is Kind.DAY_OR_TIME:
            return value
        local = time if time.tzinfo else time.tz_localize(zone)
        return local.tz_convert("UTC").isoformat()
    if kind is Kind.CHOICES:
        return ";".join(sorted(value.split(";")))
    return plain(float(value)) if kind is Kind.NUMBER and value else plain(value)


def our_cell(value: object, kind: Kind, latest: object = None) -> str:
    if kind is Kind.DAY_OR_TIME and isinstance(value, pd.Timestamp) and latest != value:
        return value.strftime("%Y-%m-%d")
    if kind is Kind.CHOICES:
        return ";".join(sorted(str(value).split(";")))
    return plain(value)


def undecided(sample: str) -> set[tuple[str, str]]:
    key = Path(SAMPLES) / sample / "key" / "undecided.csv"
    return {(r["file"], r["line"]) for r in rows_of(key)}


def is_open(source: str, out: set[tuple[str, str]]) -> bool:
    """Tell whether a key calls a row undecided, which may stand on several lines."""
    file, _, lines = source.rpartition(":")
    return any((file, part) in out for part in lines.split(";"))


def groups(pairs: list[tuple[str, str]]) -> dict[str, frozenset[str]]:
    """Give every row the rows it shares its label with; labels may differ."""
    members: dict[str, set[str]] = {}
    for row, label in pairs:
        members.setdefault(label, set()).add(row)
    return {row: frozenset(members[label] if label else {row}) for row, label in pairs}


def score_checks(sample: str, log: Log) -> Score:
    score, out = Score(), undecided(sample)
    key = rows_of(Path(SAMPLES) / sample / "key" / "checks.csv")
    ours = log.checks.set_index("source")
    source_of = replaced_sources(sample)
    wanted = [r for r in key if not is_open(f"{r['file']}:{r['line']}", out)]
    kept = {f"{r['file']}:{r['line']}" for r in wanted}
    for row in wanted:
        source = f"{row['file']}:{row['line']}"
        score.add(f"{source} row", "there", "there" if source in ours.index else "")
        if source not in ours.index:
            continue
        for column in CHECKS.columns:
            want, got = row[column.name], ours.loc[source, column.name]
            if column.name == "infusion_id":
                continue
            if column.name == "amends":
                want = source_of.get(want, want)
            score.add(
                f"{source} {column.name}",
                key_cell(want, column.kind, Policy.example().zone),
                our_cell(got, column.kind),
            )
    extra = [s for s in ours.index if s not in kept and not is_open(s, out)]
    for source in extra:
        score.add(f"{source} row", "", "there")
    want_of = groups([(f"{r['file']}:{r['line']}", r["infusion_id"]) for r in wanted])
    got_of = groups([(s, i) for s, i in ours["infusion_id"].items() if s in kept])
    blank = set(ours.index[ours["infusion_id"] == ""])
    for row in wanted:
        source = f"{row['file']}:{row['line']}"
        is_none = row["infusion_id"] == ""
        same = got_of.get(source) == want_of[source] and is_none == (source in blank)
        score.add(f"{source} infusion", "same rows", "same rows" if same else "others")
    return score


def replaced_sources(sample: str) -> dict[str, str]:
    """Give the source of each row number of the export, where rows have numbers."""
    found: dict[str, str] = {}
    for raw in read_raws(exports_of(sample)):
        if "Row" in raw.cells:
            for line, number in zip(raw.lines, raw.cells["Row"], strict=True):
                found.setdefault(number, f"{raw.file}:{line}")
    return found


def score_infusions(sample: str, log: Log) -> Score:
    """Compare infusions by the rows they have; an end row is told by a later stage."""
    score = Score()
    key = rows_of(Path(SAMPLES) / sample / "key" / "infusions.csv")
    checks = rows_of(Path(SAMPLES) / sample / "key" / "checks.csv")
    out = undecided(sample)
    ends = log.checks[log.checks["entry"] == "end"].groupby("infusion_id")
    ended = ends["checked_at"].first()
    ours = log.infusions
    of_source = log.checks.set_index("source")["infusion_id"]
    for row in key:
        mine = [
            of_source.get(f"{c['file']}:{c['line']}", "")
            for c in checks
            if c["infusion_id"] == row["infusion_id"]
            and not is_open(f"{c['file']}:{c['line']}", out)
        ]
        ident = Counter(i for i in mine if i).most_common(1)
        name = ident[0][0] if ident else ""
        score.add(f"{row['infusion_id']} row", "there", "there" if name else "")
        if not name:
            continue
        for column in INFUSIONS.columns:
            if column.name == "infusion_id":
                continue
            got = ours.loc[name, column.name]
            if column.name == "started_at" and not ours.loc[name, "has_start_row"]:
                got = got if row["started_at"] else pd.NaT
            if column.name == "ended_at" and got is pd.NaT:
                got = ended.get(name, pd.NaT)
            score.add(
                f"{row['infusion_id']} {column.name}",
                key_cell(row[column.name], column.kind, Policy.example().zone),
                our_cell(got, column.kind),
            )
    extra = len(ours) - len(key)
    if extra:
        score.add("infusions", str(len(key)), str(len(ours)))
    return score


def score_lines(sample: str, log: Log) -> Score:
    score = Score()
    key = rows_of(Path(SAMPLES) / sample / "key" / "lines.csv")

    zone = Policy.example().zone
    columns = [c for c in LINES.columns if c.name != "line_id"]
    want: list[tuple[str, ...]] = [
        tuple(key_cell(r[c.name], c.kind, zone) for c in columns) for r in key
    ]
    got = [
        tuple(our_cell(r[c.name], c.kind, r.get(f"{c.name}_latest")) for c in columns)
        for r in log.lines.to_dict("records")
    ]
    for one, other in zip(sorted(want), sorted(got), strict=False):
        for column, w, g in zip(columns, one, other, strict=True):
            score.add(f"line {one[0]} {column.name}", w, g)
    if len(want) != len(got):
        score.add("lines", str(len(want)), str(len(got)))
    return score


def score_ledger(sample: str, log: Log, name: str) -> Score:
    score, out = Score(), undecided(sample)
    key = rows_of(Path(SAMPLES) / sample / "key" / f"{name}.csv")
    frame = log.rejected if name == "rejected" else log.set_aside
    ours = {
        (r["source"], "" if r["column"] == "(row)" else r["column"]): ""
        if r["column"] == "(row)"
        else r["value"]
        for r in frame.to_dict("records")
        if not is_open(r["source"], out)
    }
    theirs = {
        (f"{r['file']}:{r['line']}", "" if r["column"] == "(row)" else r["column"]): ""
        if r["column"] == "(row)"
        else r["value"]
        for r in key
        if not is_open(f"{r['file']}:{r['line']}", out)
    }
    for place in sorted({*ours, *theirs}):
        want, got = theirs.get(place, "(no entry)"), ours.get(place, "(no entry)")
        score.add(f"{name} {place}", want, got)
    return score


def score_account(sample: str, log: Log) -> Score:
    score = Score()
    key = rows_of(Path(SAMPLES) / sample / "key" / "account.csv")
    ours = log.account.set_index("file")
    for row in key:
        for name in list(row)[1:]:
            got = str(ours.loc[row["file"], name]) if row["file"] in ours.index else ""
            score.add(f"account {row['file']} {name}", row[name], got)
    return score


def scores(sample: str, log: Log) -> dict[str, Score]:
    return {
        "checks": score_checks(sample, log),
        "infusions": score_infusions(sample, log),
        "lines": score_lines(sample, log),
        "account": score_account(sample, log),
        "rejected": score_ledger(sample, log, "rejected"),
        "set_aside": score_ledger(sample, log, "set_aside"),
    }


def told(sample: str, found: dict[str, Score]) -> str:
    parts = [f"{name} {s.agree}/{s.cells}" for name, s in found.items()]
    return f"{sample}: {', '.join(parts)}"


@pytest.mark.parametrize("sample", list("abcdef"), ids="sample {}".format)
def test_a_sample_matches_its_key_with_the_printed_layout(
    sample: str, capsys: pytest.CaptureFixture[str]
) -> None:
    found = scores(sample, log_of(sample))
    with capsys.disabled():
        print(f"\n{told(sample, found)}")  # noqa: T201 - the score is what it is for
    wrong = [w for s in found.values() for w in s.wrong or []]
    assert not wrong, "\n".join(wrong[:40])


@pytest.mark.parametrize("sample", NO_LAYOUT_NEEDED)
def test_an_easy_sample_needs_no_layout(sample: str) -> None:
    log = read_exports(exports_of(sample), Policy.example())
    wrong = [w for s in scores(sample, log).values() for w in s.wrong or []]
    assert not wrong, "\n".join(wrong[:40])
