"""Rows read = accepted + rejected + superseded + exact duplicates, for every file."""

import csv
import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.columns import REJECTED, SET_ASIDE
from analysis.intake import Log, read_exports
from tests.intake.logs import GOOD, HEADER, POLICY, canonical, line, read, write

OUTCOMES = ["accepted", "rejected", "superseded", "exact_duplicates"]


def account(log: Log, file: str = "checks.csv") -> list[int]:
    """Give a file's accepted, rejected, superseded rows and exact duplicates."""
    rows = log.account.to_dict("records")
    row = next(row for row in rows if row["file"] == file)
    assert row["rows_read"] == sum(row[name] for name in OUTCOMES)
    assert row["accepted"] == (log.checks["file"] == file).sum()
    return [int(row[name]) for name in OUTCOMES]


LATER = line(checked_at="2026-10-01T12:00", volume_remaining_ml="7.5")
#: Good rows enough that what a test adds is never most of the file.
MORE = [
    line(infusion_id=f"M{day}", checked_at=f"2026-10-{day:02}T{hour:02}:00")
    for day in range(2, 7)
    for hour in range(0, 24, 4)
]


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        pytest.param([line(), LATER], [2, 0, 0, 0], id="two good rows are accepted"),
        pytest.param(
            [line(), line()], [1, 0, 0, 1], id="a row given twice counts once"
        ),
        pytest.param(
            [line(), line(note="x")],
            [2, 0, 0, 0],
            id="a row with a note is no duplicate",
        ),
        pytest.param(
            [line(), line(checked_at=" 2026-10-01T08:00 ")],
            [1, 0, 0, 1],
            id="blanks around a cell make no new row",
        ),
        pytest.param(
            [line(), "", "   ", ",,,,,,,,,,", LATER],
            [2, 0, 0, 0],
            id="blank lines are not rows",
        ),
        pytest.param(
            [line(), line(checked_at="")], [1, 1, 0, 0], id="no time: rejected"
        ),
        pytest.param(
            [LATER, line(infusion_id="", ward="")],
            [1, 1, 0, 0],
            id="no ward and no infusion to give it: rejected",
        ),
        pytest.param(
            [LATER, line(infusion_id="I2", patient_id="")],
            [1, 1, 0, 0],
            id="no patient and none in the infusion's other rows: rejected",
        ),
        pytest.param(
            [line(), line(checked_at=""), line(checked_at="")],
            [1, 1, 0, 1],
            id="a rejected row given twice is rejected once",
        ),
        pytest.param(
            [line(), LATER + ",too,many"], [1, 1, 0, 0], id="a row too long: rejected"
        ),
        pytest.param(
            [line() + ",,", LATER + ",,"],
            [2, 0, 0, 0],
            id="empty cells too many on every row do no harm",
        ),
        pytest.param(
            [line(), LATER + ",,"],
            [1, 1, 0, 0],
            id="empty cells too many on one row: a cell may have been split",
        ),
        pytest.param(
            [line(), LATER.rsplit(",", 1)[0]],
            [1, 1, 0, 0],
            id="a row too short: rejected",
        ),
        pytest.param(
            [line(), line(volume_remaining_ml="9", amends="checks.csv:2")],
            [1, 0, 1, 0],
            id="an amended row is superseded",
        ),
        pytest.param(
            [
                line(),
                line(volume_remaining_ml="9", amends="checks.csv:2"),
                line(volume_remaining_ml="8", amends="checks.csv:3"),
            ],
            [1, 0, 2, 0],
            id="an amendment of an amendment leaves the last",
        ),
        pytest.param(
            [line(), line(checked_at="", amends="checks.csv:2")],
            [1, 1, 0, 0],
            id="a rejected amendment leaves the row it would have replaced",
        ),
        pytest.param(
            [
                line(),
                line(checked_at="", amends="checks.csv:2"),
                line(volume_remaining_ml="8", amends="checks.csv:3"),
            ],
            [1, 1, 1, 0],
            id="an amendment of a rejected amendment corrects the first row too",
        ),
        pytest.param(
            [line(amends="checks.csv:2"), LATER],
            [2, 0, 0, 0],
            id="a row that names itself is not lost",
        ),
        pytest.param(
            [line(amends="checks.csv:3"), line(note="b", amends="checks.csv:2"), LATER],
            [3, 0, 0, 0],
            id="two rows that name each other are not lost",
        ),
        pytest.param(
            [line(), line(), line(volume_remaining_ml="9", amends="checks.csv:3")],
            [1, 0, 1, 1],
            id="amending the second copy of a row corrects the row",
        ),
        pytest.param(
            [line(checked_at=""), line(volume_remaining_ml="9", amends="checks.csv:2")],
            [1, 1, 0, 0],
            id="a rejected row that is amended stays in the ledger",
        ),
        pytest.param(
            [line(), line(volume_remaining_ml="9", amends="checks.csv:99")],
            [2, 0, 0, 0],
            id="an amendment of no row supersedes nothing",
        ),
        pytest.param(
            [
                line(),
                'Alder ward,P1,I1,D1,check,2026-10-01T09:00,,9,,,"never closed',
                LATER,
            ],
            [2, 1, 0, 0],
            id="a quote never closed costs its own row only",
        ),
        pytest.param(
            [
                line(),
                'Alder ward,P1,I1,D1,",2026-10-01T09:00,,9,,,',
                'Alder ward,P1,I1,D1,",2026-10-01T10:00,,9,,,',
                LATER,
            ],
            [2, 2, 0, 0],
            id="two ditto marks do not swallow the row between them",
        ),
        pytest.param(
            [
                line(),
                'Alder ward,P1,I1,D1,check,2026-10-01T09:00,,9,,,"',
                line(checked_at="2026-10-01T10:00"),
                'Alder ward,P1,I1,D1,check,2026-10-01T11:00,,9,,,"',
                LATER,
            ],
            [3, 2, 0, 0],
            id="two lone quotes at the ends of rows leave the rows between",
        ),
        pytest.param(
            [line(note='"two lines,\nof, a, note, with, commas"'), LATER],
            [2, 0, 0, 0],
            id="a note of two lines is one cell",
        ),
        pytest.param(
            [line(note='5" tube'), LATER], [2, 0, 0, 0], id="an inch mark is text"
        ),
        pytest.param(
            [line(), line(note='"a"b"')], [1, 1, 0, 0], id="text after a closing quote"
        ),
        pytest.param(
            [line(note="a\0b"), LATER], [2, 0, 0, 0], id="a NUL byte is text in a note"
        ),
        pytest.param(
            [line(note="x" * 100_000), LATER], [2, 0, 0, 0], id="a very long note"
        ),
        pytest.param(
            [line(note="x" * 200_000), LATER], [1, 1, 0, 0], id="a cell beyond reason"
        ),
        pytest.param(["x" * 400_000, LATER], [1, 1, 0, 0], id="a line beyond reason"),
    ],
)
def test_every_row_is_accounted_for(
    tmp_path: Path, lines: list[str], expected: list[int]
) -> None:
    log = read(tmp_path, *lines)
    assert account(log) == expected
    assert len(log.rejected) == expected[1]


@pytest.mark.parametrize(
    ("cell", "value", "column", "reason"),
    [
        pytest.param("checked_at", "", "checked_at", "no time", id="no time"),
        pytest.param("ward", "#REF!", "ward", "error of a sheet", id="an error value"),
        pytest.param(
            "ward", "=A2", "ward", "error of a sheet", id="a formula for a ward"
        ),
        pytest.param(
            "patient_id",
            "=B2&C2",
            "patient_id",
            "error of a sheet",
            id="a formula for a patient",
        ),
        pytest.param(
            "checked_at", "soon", "checked_at", "time not readable", id="time in words"
        ),
        pytest.param(
            "checked_at",
            "2026-10-01",
            "checked_at",
            "time not readable",
            id="a date without a time of day",
        ),
        pytest.param(
            "checked_at",
            "2026-02-30T10:00",
            "checked_at",
            "time not readable",
            id="a day that is not in the calendar",
        ),
    ],
)
def test_the_ledger_says_where_what_and_why(
    tmp_path: Path, cell: str, value: str, column: str, reason: str
) -> None:
    bad = line(note="kept in full", **{cell: value})
    log = read(tmp_path, LATER, "", bad)
    assert list(log.rejected.columns) == REJECTED.names
    entry = log.rejected.iloc[0]
    assert entry["source"] == "checks.csv:4"
    assert (entry["column"], entry["value"], entry["reason"]) == (column, value, reason)
    assert column in entry["sentence"] or "time" in entry["sentence"]
    assert value in entry["sentence"]
    assert entry["row"] == bad


def test_a_code_kept_as_text_by_a_formula_is_the_code(tmp_path: Path) -> None:
    # Common practice, no source: exports write ="0012" so that a sheet keeps the zeros.
    log = read(tmp_path, line(patient_id='"=""0012"""', note="=2 left in the drawer"))
    assert log.checks["patient_id"].tolist() == ["0012"]
    assert log.checks["note"].tolist() == ["=2 left in the drawer"]


def test_broken_record_is_in_the_ledger_as_it_stands(tmp_path: Path) -> None:
    broken = 'Alder ward,P1,I1,D1,check,2026-10-01T09:00,,9,,,"never closed'
    entry = read(tmp_path, LATER, broken).rejected.iloc[0]
    assert (entry["source"], entry["column"]) == ("checks.csv:3", "(row)")
    assert entry["reason"] == "broken record"
    assert "quote" in entry["sentence"]
    assert entry["row"] == broken


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        pytest.param(f"{HEADER}\n{line()}\n{LATER}\n", [2, 3], id="plain"),
        pytest.param(
            f"{HEADER}\n{line()}\n{LATER}", [2, 3], id="no line end at the end"
        ),
        pytest.param(f"\ufeff{HEADER}\n{line()}\n{LATER}\n", [2, 3], id="BOM"),
        pytest.param(f"{HEADER}\r\n{line()}\r\n{LATER}\r\n", [2, 3], id="CRLF"),
        pytest.param(f"{HEADER}\r{line()}\r{LATER}\r", [2, 3], id="CR alone"),
        pytest.param(
            f"\n\n{HEADER}\n\n{line()}\n\n\n{LATER}\n", [5, 8], id="blank lines"
        ),
        pytest.param(
            HEADER + "\n" + line(note='"a\nb\n\nc"') + "\n" + LATER + "\n",
            [2, 6],
            id="a quoted line break counts",
        ),
        pytest.param(
            HEADER + "\r\n" + line(note='"a\r\nb"') + "\r\n" + LATER + "\r\n",
            [2, 4],
            id="a quoted CRLF counts once",
        ),
        pytest.param(
            HEADER + '\n"open\n' + line() + "\n" + LATER + "\n",
            [3, 4],
            id="after a quote never closed",
        ),
    ],
)
def test_line_numbers_are_those_of_the_file(
    tmp_path: Path, text: str, lines: list[int]
) -> None:
    path = tmp_path / "checks.csv"
    path.write_bytes(text.encode())
    log = read_exports([path], POLICY)
    assert log.checks["line"].tolist() == lines
    assert log.checks["source"].tolist() == [f"checks.csv:{n}" for n in lines]


# What a row may be, with the number of accepted and rejected rows it adds when alone.
KINDS = {
    "good": (1, 0),
    "blank": (0, 0),
    "commas": (0, 0),
    "short": (0, 1),
    "long": (0, 1),
    "open quote": (0, 1),
    "lone quote": (0, 1),
    "no time": (0, 1),
    "no ward": (0, 1),
    "no patient": (0, 1),
    "bad cell": (1, 0),
    "two lines": (1, 0),
}


def made(kind: str, number: int) -> str:
    """Write a row of a kind that is like no other row."""
    own = {"note": f"row {number}", "infusion_id": f"R{number}"}
    whole = {
        "blank": "  ",
        "commas": "," * (len(GOOD) - 1),
        "short": line(own).rsplit(",", 2)[0],
        "long": line(own) + ",more",
    }
    cells = {
        "open quote": {"note": f'"row {number}'},
        "lone quote": {"note": '"'},
        "no time": {"checked_at": ""},
        "no ward": {"ward": ""},
        "no patient": {"patient_id": ""},
        "bad cell": {"volume_remaining_ml": "ten"},
        "two lines": {"note": f'"row\n{number}"'},
    }
    return whole.get(kind) or line(own | cells.get(kind, {}))


@settings(max_examples=25, deadline=None)
@given(
    kinds=st.lists(st.sampled_from(sorted(KINDS)), max_size=14),
    doubled=st.sets(st.integers(0, 13)),
    amended=st.sets(st.integers(0, 13), max_size=3),
)
def test_any_mix_of_rows_balances(
    kinds: list[str], doubled: set[int], amended: set[int]
) -> None:
    rows = [made(kind, number) for number, kind in enumerate(kinds)]
    first = 1
    begins = []
    for row in [HEADER, *rows]:
        begins.append(first)
        first += row.count("\n") + 1
    good = [n for n, kind in enumerate(kinds) if KINDS[kind][0]]
    twice = [n for n in good if n in doubled]
    corrected = [n for n in good if n in amended]
    lines = [HEADER, *rows, LATER, *MORE]
    lines += [rows[n] for n in twice]
    lines += [
        line(note=f"amends {n}", amends=f"checks.csv:{begins[n + 1]}")
        for n in corrected
    ]
    with tempfile.TemporaryDirectory() as folder:
        log = read_exports([write(Path(folder), "checks.csv", *lines)], POLICY)
    rejected = sum(KINDS[kind][1] for kind in kinds)
    # An amendment is accepted in the place of what it corrects.
    others = 1 + len(MORE)
    assert account(log) == [len(good) + others, rejected, len(corrected), len(twice)]
    assert len(log.rejected) == rejected
    expected = [
        f"checks.csv:{begins[n + 1]}" for n, k in enumerate(kinds) if KINDS[k][1]
    ]
    assert sorted(log.rejected["source"]) == sorted(expected)
    aside = [
        f"checks.csv:{begins[n + 1]}" for n, k in enumerate(kinds) if k == "bad cell"
    ]
    assert log.set_aside["source"].tolist() == aside


@settings(max_examples=40, deadline=None)
@given(noise=st.text(st.sampled_from('",\n\r\0;ab 1\u00e9'), max_size=60))
def test_no_text_stops_the_reader(noise: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "checks.csv"
        more = "\n".join(MORE)
        path.write_bytes(f"{HEADER}\n{LATER}\n{noise}\n{line()}\n{more}\n".encode())
        log = read_exports([path], POLICY)
    row = log.account.iloc[0]
    assert row["rows_read"] == row[OUTCOMES].sum()
    assert LATER.split(",")[5][:16] in set(
        log.checks["checked_at"].dt.strftime("%Y-%m-%dT%H:%M")
    )


def test_account_is_kept_for_each_file(tmp_path: Path) -> None:
    one = write(tmp_path, "one/checks.csv", HEADER, line(), line(checked_at=""))
    two = write(tmp_path, "two/checks.csv", HEADER, line(), LATER)
    log = read_exports([one, two], POLICY)
    assert account(log, "one/checks.csv") == [1, 1, 0, 0]
    assert account(log, "two/checks.csv") == [1, 0, 0, 1]
    assert log.rejected["source"].tolist() == ["one/checks.csv:3"]


def test_ledger_text_is_a_csv_line(tmp_path: Path) -> None:
    log = read(tmp_path, LATER, line(checked_at="", note='"a, ""b"""'))
    assert next(csv.reader([log.rejected["row"].iloc[0]]))[-1] == 'a, "b"'


def test_ledger_columns_are_there_when_nothing_is_wrong(tmp_path: Path) -> None:
    log = read(tmp_path, LATER)
    assert list(log.rejected.columns) == REJECTED.names
    assert list(log.set_aside.columns) == SET_ASIDE.names
    pd.testing.assert_frame_equal(canonical(log.checks), canonical(log.checks.copy()))
