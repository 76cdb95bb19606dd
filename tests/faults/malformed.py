"""Malformed exports made to take memory or time, and what reading them takes.

Run as a process of its own, which the system stops at its limits:

    python -m tests.faults.malformed FOLDER

It makes the files one after another, reads each as `steadyfall intake` does, and prints
JSON: name to how it ended, the size of the file, and the memory beyond what was held.
"""

import io
import json
import random
import re
import resource
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import xlsxwriter

from analysis.errors import InputError
from analysis.intake import read_exports
from analysis.policy import Policy
from tests.intake.logs import HEADER, line

#: What the process may take in all: far more than any of the files should.
MOST_BYTES, MOST_CPU_S = 8 << 30, 400

MIB = 1 << 20
ROWS = "".join(
    line(checked_at=f"2026-09-{1 + n // 6:02}T{2 + n % 6 * 4:02}:00",
         infusion_id=f"I{n // 6}") + "\n"
    for n in range(120)
)  # fmt: skip
LOG = f"{HEADER}\n{ROWS}"


def long_cells(unit: str) -> bytes:
    """Write a log with one row whose every text cell is long, made of one piece."""
    text = (unit * 200_000)[:200_000].strip()
    quoted = '"' + text.replace('"', '""') + '"'
    names = HEADER.split(",")
    cells = ["Alder" if n == "ward" else quoted for n in names]
    row = line(infusion_id="I99").split(",")
    both = [
        plain if name in {"checked_at", "patient_id"} else long
        for name, plain, long in zip(names, row, cells, strict=True)
    ]
    return f"{LOG}{','.join(both)}\n".encode()


def wide(columns: int) -> bytes:
    """Write a header and a row with so many columns that nobody knows."""
    names = ",".join(f"c{n}" for n in range(columns))
    return f"{HEADER},{names}\n{line()},{',' * (columns - 1)}\n".encode()


def noise() -> bytes:
    """Give bytes of no kind at all."""
    return random.Random(1).randbytes(4 * MIB)  # noqa: S311 - a test's own


def workbook(changes: dict[str, bytes]) -> bytes:
    """Write a small workbook with other parts in place of its own."""
    file = io.BytesIO()
    book = xlsxwriter.Workbook(file)
    sheet = book.add_worksheet("V")
    for row, text in enumerate(LOG.splitlines()):
        sheet.write_row(row, 0, text.split(","))
    book.close()
    out = io.BytesIO()
    with (
        zipfile.ZipFile(file) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            new.writestr(name, changes.get(name, old.read(name)))
    return out.getvalue()


SHEET, STRINGS = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"
IN_SHEET = b"<worksheet><sheetData>%s</sheetData></worksheet>"
ENTITIES = b"<!DOCTYPE s [<!ENTITY a0 'aaaaaaaaaa'>" + b"".join(
    b"<!ENTITY a%d '%s'>" % (n, b"&a%d;" % (n - 1) * 10) for n in range(1, 12)
)

MADE: dict[str, Callable[[], bytes]] = {
    "one endless line": lambda: b"x," * (4 * MIB),
    "quotes alone": lambda: b'"' * (8 * MIB),
    "commas alone": lambda: LOG.encode() + b",,,,,,,,,\n" * 100_000,
    "NUL bytes alone": lambda: b"\0" * (8 * MIB),
    "a quote never closed": lambda: LOG.replace(",", ',"', 1).encode() * 100,
    "quotes in every cell": lambda: LOG.replace(",", '",""').encode() * 50,
    "100,000 columns": lambda: wide(100_000),
    "noise": noise,
    "text of two bytes a letter, cut": lambda: (LOG * 20).encode("utf-16")[:-1],
    "cells of blanks": lambda: long_cells("\N{NO-BREAK SPACE} x"),
    "cells of digits": lambda: long_cells("9"),
    "cells of points": lambda: long_cells("1."),
    "cells of signs": lambda: long_cells("redness;"),
    "cells of doses": lambda: long_cells("morphine 1"),
    "cells of dates": lambda: long_cells("1/1/"),
    "cells of times": lambda: long_cells("1:1 am "),
    "cells of quotes": lambda: long_cells('"'),
    "numbers beyond all sizes": lambda: LOG.replace(
        "T02:00", "T02:00:00." + "9" * 20_000
    ).replace("0.67", "1e" + "9" * 2_000).encode(),
    "a workbook packed of blanks": lambda: workbook({STRINGS: b" " * (400 * MIB)}),
    "a workbook of tags that never end": lambda: workbook(
        {SHEET: IN_SHEET % (b"<row <c " * (MIB // 2))}
    ),
    "a workbook of tags within tags": lambda: workbook(
        {SHEET: IN_SHEET % (b"<row r='1'>" * MIB)}
    ),
    "a workbook of entities of entities": lambda: workbook(
        {STRINGS: ENTITIES + b"]><sst><si><t>&a11;</t></si></sst>"}
    ),
    "a workbook that lists a long sheet": lambda: workbook(
        {"xl/workbook.xml": b"<workbook><sheet " + b"a" * MIB + b"></workbook>"}
    ),
    "an archive in place of a workbook": lambda: workbook({SHEET: noise()}),
}  # fmt: skip

STATUS, FORGET = Path("/proc/self/status"), Path("/proc/self/clear_refs")


def held(name: str) -> int:
    """Give what the system counts of this process's memory [bytes]."""
    text = STATUS.read_text(encoding="utf-8")
    found = re.search(rf"{name}:\s*(\d+) kB", text)
    return int(found[1]) * 1024 if found else 0


def ending(path: Path) -> str:
    """Read a file; tell how it ended."""
    try:
        log = read_exports([path], Policy.example())
    except InputError as error:
        return f"refused: {error}"
    fates = ["accepted", "rejected", "superseded", "exact_duplicates"]
    is_whole = (log.account["rows_read"] == log.account[fates].sum(axis=1)).all()
    return "read" if is_whole else "does not balance"


def main(folder: Path) -> None:
    """Make, read and measure every file."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S))
    (folder / "first.csv").write_text(LOG, encoding="utf-8")
    ending(folder / "first.csv")  # so that what it imports is there
    for name, make in MADE.items():
        path = folder / "export.csv"
        path.write_bytes(make())
        FORGET.write_text("5", encoding="utf-8")
        before = held("VmRSS")
        told = {"name": name, "size": path.stat().st_size, "ended": ending(path)}
        told["beyond"] = held("VmHWM") - before
        sys.stdout.write(json.dumps(told) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
