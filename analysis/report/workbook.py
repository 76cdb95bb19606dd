"""The working list, one row a finding, with room for a decision: xlsx and CSV."""

from collections.abc import Sequence
from pathlib import Path

import pandas as pd
import xlsxwriter

from analysis.audit import AuditResult
from analysis.report.cells import guarded, texts
from analysis.report.facts import in_order, seen_at, words
from analysis.report.tables import write_csv
from analysis.review import LIST_COLUMNS, Review
from analysis.terms import Decision, ReviewState

FILE = "review.xlsx"
CSV_FILE = "review.csv"

#: Width of each column in characters.
_WIDTHS = (15, 9, 18, 12, 20, 10, 16, 18, 11, 22, 10, 80, 12, 16, 40, 9)

# Excel's own limit is 32,767 characters a cell.
_LONGEST = 32_000


def working_list(result: AuditResult, review: Review) -> pd.DataFrame:
    """Give the rows of the working list.

    Parameters
    ----------
    result : AuditResult
        The audit; the findings of its month are listed, the first to look at first.
    review : Review
        What was decided before. Decisions on findings of other months, and those whose
        finding is not in this log, follow at the end: none is dropped.

    Returns
    -------
    DataFrame of str
        Columns `LIST_COLUMNS`. Where two decisions contradict the cell is empty and the
        note says both.
    """
    decided = review.decisions[
        ["finding_id", "state", "said", "decision", "note", "initials"]
    ]
    table = in_order(result.findings).merge(decided, on="finding_id", how="left")
    is_filled = table[["said", "decision", "note", "initials"]].notna().any(axis=1)
    is_mine = table["month"] == result.month
    known = pd.concat([table[is_mine], table[~is_mine & is_filled]])
    known = known.assign(
        kind=[words(kind) for kind in texts(known["kind"])],
        note=_notes(known),
    )
    gone = review.unmatched.assign(state=str(ReviewState.UNMATCHED))
    parts = [
        pd.DataFrame({name: _cells(part, name) for name in LIST_COLUMNS}, dtype="str")
        for part in (known, gone)
    ]
    return pd.concat([part for part in parts if len(part)] or parts, ignore_index=True)


#: Columns that the findings table has under longer names.
_OWN_NAMES = {
    "patient": "patient_id",
    "infusion": "infusion_id",
    "driver": "driver_id",
    "first_row": "first_source",
    "probability": "event_probability",
}


def _notes(known: pd.DataFrame) -> list[str]:
    """Give the notes, with two decisions that contradict said in front, once."""
    pairs = zip(texts(known["said"]), texts(known["note"]), strict=True)
    leads = [(f"two decisions: {said}" if said else "", note) for said, note in pairs]
    return [
        note if lead in note else "; ".join(part for part in (lead, note) if part)
        for lead, note in leads
    ]


def _cells(part: pd.DataFrame, name: str) -> list[str]:
    if name == "first_seen" and "first_visible" in part:
        return ["" if pd.isna(at) else f"{at:%Y-%m-%d %H:%M}" for at in seen_at(part)]
    own = _OWN_NAMES.get(name, name)
    if own not in part:  # of a finding that is not in this log little is known
        return [""] * len(part)
    values = part[own]
    if name == "probability":
        return ["" if pd.isna(p) else f"{p:.3f}" for p in values]
    return texts(values)


def write_workbook(result: AuditResult, review: Review, folder: Path) -> None:
    """Write the working list, as a workbook and as CSV.

    Parameters
    ----------
    result : AuditResult
        The audit.
    review : Review
        What was decided before.
    folder : Path
        Folder of the report.

    Notes
    -----
    Every cell is written as a string: text from a log is never a formula or a link. The
    workbook is dated by the end of the log, so that the same audit gives the same
    bytes.
    """
    rows = working_list(result, review)
    # With the mark by which a spreadsheet knows UTF-8: this file is opened in one.
    write_csv(rows.map(guarded), folder / CSV_FILE, encoding="utf-8-sig")
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
    _fill(book, list(rows.itertuples(index=False, name=None)))
    book.close()


def _fill(book: xlsxwriter.Workbook, rows: Sequence[tuple[str, ...]]) -> None:
    sheet = book.add_worksheet("review")
    head = book.add_format({"bold": True, "bottom": 1, "valign": "top"})
    # Text, so that a spreadsheet does not read what is typed as a number or a date.
    cell = book.add_format({"text_wrap": True, "valign": "top", "num_format": "@"})
    for number, (name, width) in enumerate(zip(LIST_COLUMNS, _WIDTHS, strict=True)):
        sheet.set_column(number, number, width, cell)
        sheet.write_string(0, number, name, head)
    for line, row in enumerate(rows, start=1):
        for number, text in enumerate(row):
            sheet.write_string(line, number, text[:_LONGEST], cell)
    sheet.freeze_panes(1, 1)
    last = max(len(rows), 1)
    sheet.autofilter(0, 0, last, len(LIST_COLUMNS) - 1)
    decision = LIST_COLUMNS.index("decision")
    sheet.data_validation(
        1,
        decision,
        last,
        decision,
        {
            "validate": "list",
            "source": [str(word) for word in Decision],
            "error_title": "Not in the list",
            "error_message": "Choose one of: " + ", ".join(Decision),
        },
    )
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
