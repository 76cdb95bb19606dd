"""``review.xlsx``: the working list, one row a finding, with room for a decision."""

from collections.abc import Sequence
from pathlib import Path

import xlsxwriter

from analysis.audit import AuditResult
from analysis.report.facts import in_order, month_findings, words
from analysis.report.tables import texts

FILE = "review.xlsx"
DECISIONS = ("confirmed", "charting error", "explained", "unclear")

#: Heading of each column and its width in characters.
COLUMNS = (
    ("finding_id", 15),
    ("ward", 18),
    ("infusion", 20),
    ("kind", 22),
    ("sentence", 90),
    ("decision", 16),
    ("note", 40),
    ("initials", 10),
)

# Excel's own limit is 32,767 characters a cell.
_LONGEST = 32_000


def write_workbook(result: AuditResult, folder: Path) -> None:
    """Write the working list of the month's findings.

    Parameters
    ----------
    result : AuditResult
        The audit; the findings of its month are listed, the first to look at first.
    folder : Path
        Folder of the report.

    Notes
    -----
    Every cell is written as a string: text from a log is never a formula or a link. The
    file is dated by the end of the log, so that the same audit gives the same bytes.
    """
    book = xlsxwriter.Workbook(
        str(folder / FILE),
        {"strings_to_formulas": False, "strings_to_urls": False, "in_memory": True},
    )
    created = result.log_end.tz_convert("UTC").tz_localize(None)
    book.set_properties(
        {
            "title": f"Findings to review, {result.month}",
            "created": created.floor("s").to_pydatetime(),
        }
    )
    _fill(book, _rows(result))
    book.close()


def _rows(result: AuditResult) -> list[tuple[str, ...]]:
    findings = in_order(month_findings(result))
    columns = (
        texts(findings["finding_id"]),
        texts(findings["ward"]),
        texts(findings["infusion_id"]),
        [words(kind) for kind in texts(findings["kind"])],
        texts(findings["sentence"]),
    )
    return list(zip(*columns, strict=True))


def _fill(book: xlsxwriter.Workbook, rows: Sequence[tuple[str, ...]]) -> None:
    sheet = book.add_worksheet("review")
    head = book.add_format({"bold": True, "bottom": 1, "valign": "top"})
    cell = book.add_format({"text_wrap": True, "valign": "top"})
    for number, (name, width) in enumerate(COLUMNS):
        sheet.set_column(number, number, width, cell)
        sheet.write_string(0, number, name, head)
    for line, row in enumerate(rows, start=1):
        for number, text in enumerate(row):
            sheet.write_string(line, number, text[:_LONGEST], cell)
    sheet.freeze_panes(1, 1)
    last = max(len(rows), 1)
    sheet.autofilter(0, 0, last, len(COLUMNS) - 1)
    decision = [name for name, _ in COLUMNS].index("decision")
    sheet.data_validation(
        1,
        decision,
        last,
        decision,
        {
            "validate": "list",
            "source": list(DECISIONS),
            "error_title": "Not in the list",
            "error_message": "Choose one of: " + ", ".join(DECISIONS),
        },
    )
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
