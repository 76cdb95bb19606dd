"""Tables of the record's quality: how the log was charted and what of it was read.

They are the same in the monthly report and in the dry run of the intake.
"""

import math
from dataclasses import dataclass
from typing import Self

import pandas as pd

from analysis.audit import AuditResult
from analysis.intake import Log
from analysis.quality import account, habits, unassigned
from analysis.report import facts
from analysis.report.definitions import definition
from analysis.report.grid import Grid
from analysis.terms import ALL

#: How a number was charted, and what it was read as.
_QUALIFIED = {
    "approximate": ("about", "the number itself"),
    "below": ("below", "the number itself"),
    "above": ("above", "the number itself"),
    "range": ("between two numbers", "their middle"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """A log as it was read, before anything is judged.

    Attributes
    ----------
    rows : DataFrame
        Accepted rows with the columns of ``checks``.
    account, rejected, set_aside, qualifiers : DataFrame
        As in `AuditResult`.
    notes : tuple of str
        What was recognised, settled or derived, in words.
    """

    rows: pd.DataFrame
    account: pd.DataFrame
    rejected: pd.DataFrame
    set_aside: pd.DataFrame
    qualifiers: pd.DataFrame
    notes: tuple[str, ...]

    @classmethod
    def of_log(cls, log: Log) -> Self:
        """Take the record from a log that was read and not audited.

        Parameters
        ----------
        log : Log
            What intake made of the exports.

        Returns
        -------
        Record
            Of that log.
        """
        return cls(
            rows=log.checks,
            account=log.account,
            rejected=log.rejected,
            set_aside=log.set_aside,
            qualifiers=account.qualifiers(log.qualified),
            notes=log.notes,
        )

    @classmethod
    def of_result(cls, result: AuditResult) -> Self:
        """Take the record from an audit.

        Parameters
        ----------
        result : AuditResult
            The audit.

        Returns
        -------
        Record
            Of its log.
        """
        return cls(
            rows=result.readings,
            account=result.account,
            rejected=result.rejected,
            set_aside=result.set_aside,
            qualifiers=result.qualifiers,
            notes=result.notes,
        )

    @property
    def wards(self) -> list[str]:
        """Give its wards, sorted.

        Returns
        -------
        list of str
            In alphabetical order.
        """
        return sorted(map(str, self.rows["ward"].unique()))


def not_read(record: Record) -> list[Grid]:
    """Show why rows were rejected and cells set aside, with the first of each.

    Parameters
    ----------
    record : Record
        The log as it was read.

    Returns
    -------
    list of Grid
        One of rows, one of cells; one row a column and reason.
    """
    return [
        _reasons(
            record.rejected,
            "Rows that could not be placed, kept in full in",
            "rejected",
        ),
        _reasons(
            record.set_aside,
            "Cells that could not be read; their rows stay, without that value. All in",
            "set_aside",
        ),
    ]


def _reasons(ledger: pd.DataFrame, caption: str, table: str) -> Grid:
    return Grid(
        caption=f"{caption} tables/{table}.csv: {len(ledger):,}",
        head=("how many", "column", "reason", "the first", "what it says"),
        rows=[
            (
                f"{row['cells']:,}",
                str(row["column"]),
                str(row["reason"]),
                str(row["source"]),
                str(row["sentence"]),
            )
            for row in facts.rows_of(account.reasons(ledger))
        ],
        numeric=frozenset({0}),
    )


def qualified(record: Record) -> Grid:
    """Show how many numbers were charted as about, below, above or between.

    Parameters
    ----------
    record : Record
        The log as it was read.

    Returns
    -------
    Grid
        One row a column and way of charting; none where all numbers are plain.
    """
    return Grid(
        caption="Numbers charted with a qualifier, read as a number",
        head=("column", "charted as", "read as", "how many", "the first", "its cell"),
        rows=[
            (
                str(row["column"]),
                *_QUALIFIED[str(row["qualifier"])],
                f"{row['cells']:,}",
                str(row["source"]),
                str(row["value"]),
            )
            for row in facts.rows_of(record.qualifiers)
        ],
        numeric=frozenset({3}),
    )


def completeness(record: Record) -> Grid:
    """Show the empty cells of each column, by ward.

    Parameters
    ----------
    record : Record
        The log as it was read.

    Returns
    -------
    Grid
        One row a column that is in this export.
    """
    missing = habits.missing_by_column(record.rows)
    wards = [*record.wards, ALL]
    by = missing.set_index(["column", "ward"])
    rows = [
        (
            column,
            *(
                empty_share(
                    by.loc[(column, ward), "missing"], by.loc[(column, ward), "rows"]
                )
                for ward in wards
                if (column, ward) in by.index
            ),
        )
        for column in missing["column"].unique()
    ]
    return Grid(
        caption="Cells not recorded, of the accepted rows: a blank is never normal",
        head=("column", *map(_ward, wards)),
        rows=rows,
        numeric=frozenset(range(1, len(wards) + 1)),
    )


def round_times(record: Record) -> Grid:
    """Show how many times stand on round marks of the clock, by ward.

    Parameters
    ----------
    record : Record
        The log as it was read.

    Returns
    -------
    Grid
        One row a ward, all wards last.
    """
    found = habits.round_times(record.rows)
    marks = [f"on_{mark}_min" for mark in habits.CLOCK_MARKS_MIN]
    rows = [
        (
            _ward(str(row["ward"])),
            f"{row['rows']:,}",
            *(_share(row[mark], row["rows"]) for mark in marks),
        )
        for row in facts.rows_of(found)
    ]
    return Grid(
        caption="Times on round marks of the clock. By chance one time in 60 (1.7 %) "
        "stands on the exact hour; where most do, times are likely those of a round, "
        "and being on time is as recorded",
        head=("ward", "rows", "exact hour", "half hour", "quarter hour", "5 minutes"),
        rows=rows,
        numeric=frozenset(range(1, 6)),
        last_is_total=True,
    )


def last_digits(record: Record) -> Grid:
    """Show the last digits of volumes and minutes, by ward.

    Parameters
    ----------
    record : Record
        The log as it was read.

    Returns
    -------
    Grid
        One row a ward and kind, shares in per cent.
    """
    found = habits.last_digits(record.rows)
    rows = [
        (
            str(row["what"]),
            _ward(str(row["ward"])),
            f"{row['rows']:,}",
            *(f"{100 * row[f'd{digit}'] / row['rows']:.0f}" for digit in range(10)),
        )
        for row in facts.rows_of(found)
    ]
    return Grid(
        caption="Last digits, in per cent of the readings; without a preference each "
        "digit has about 10",
        head=("of", "ward", "readings", *map(str, range(10))),
        rows=rows,
        numeric=frozenset(range(2, 13)),
    )


def digit_preference(record: Record) -> Grid:
    """Show by ward how far the endings of volumes are from equal use, with a test.

    Parameters
    ----------
    record : Record
        The log as it was read.

    Returns
    -------
    Grid
        One row a ward and column; none for volumes read to whole mL.
    """
    return Grid(
        caption="Preference for some endings of volumes that are read finer than to a "
        "mL. Myers' blended index is the share of readings that would have to end "
        "otherwise for all endings to be used alike. Where most syringes are alike and "
        "looked at by the clock the volumes themselves come back to the same endings, "
        "and a small p-value says no more than that",
        head=("ward", "volume", "step, mL", "readings", "index, %", "p-value"),
        rows=[
            (
                str(row["ward"]),
                str(row["source"]),
                f"{row['step_ml']:g}",
                f"{row['readings']:,}",
                _known(row["myers"], "{:.0f}"),
                _p_value(row["p_value"]),
            )
            for row in facts.rows_of(habits.digit_preference(record.rows))
        ],
        numeric=frozenset({2, 3, 4, 5}),
    )


def resolution(record: Record) -> Grid:
    """Show how fine each ward reads each volume.

    Parameters
    ----------
    record : Record
        The log as it was read.

    Returns
    -------
    Grid
        One row a ward and column.
    """
    return Grid(
        caption="How fine the volumes were read: the coarsest step that at least 90 % "
        "of the readings lie on",
        head=("ward", "volume", "readings", "step, mL"),
        rows=[
            (
                str(row["ward"]),
                str(row["column"]),
                f"{row['readings']:,}",
                f"{row['step_ml']:g}",
            )
            for row in facts.rows_of(habits.reading_resolution(record.rows))
        ],
        numeric=frozenset({2, 3}),
    )


def measurement_changes(record: Record) -> list[str]:
    """Say where a ward began to read its volumes in another step.

    Parameters
    ----------
    record : Record
        The log as it was read.

    Returns
    -------
    list of str
        One sentence a ward and column.
    """
    return [
        f"{row['ward']} charted {row['column']} in steps of {row['step_before_ml']:g} "
        f"mL before the week of {row['week_of']:%d %B %Y} and "
        f"of {row['step_after_ml']:g} mL from then on. The measurement changed: do not "
        "compare the number of findings before and after."
        for row in facts.rows_of(habits.resolution_changes(record.rows))
    ]


def bucket(record: Record) -> Grid | None:
    """Show the rows that belong to no infusion, and the infusions that were derived.

    Parameters
    ----------
    record : Record
        The log as it was read.

    Returns
    -------
    Grid or None
        None where every row names its infusion.
    """
    found = unassigned.unassigned_rows(record.rows)
    numbers = (
        "rows",
        "derived_rows",
        "derived_infusions",
        "unassigned",
        "no_driver",
        "patients",
    )
    whole = found[found["ward"] == ALL]
    if not whole[["unassigned", "derived_infusions"]].to_numpy().any():
        return None
    return Grid(
        caption="Infusions derived where no id is charted, from the driver (else the "
        "patient): a start or syringe change, the row after an end, a volume that "
        "rises by half a syringe, or another time of start begins one. Rows "
        "that nobody can assign stand in no measure of checks or delivery",
        head=(
            "ward",
            "rows",
            "in a derived infusion",
            "infusions derived",
            "assigned to none",
            "of those, no driver",
            "patients of those",
        ),
        rows=[
            (_ward(str(row["ward"])), *(f"{row[name]:,}" for name in numbers))
            for row in facts.rows_of(found)
        ],
        numeric=frozenset(range(1, 7)),
        last_is_total=True,
    )


def without_derived(result: AuditResult) -> Grid | None:
    """Show each measure of the whole log with derived infusions and without them.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Grid or None
        None where no infusion was derived.
    """
    found = unassigned.unassigned_rows(result.readings)
    if not found["derived_infusions"].any():
        return None
    names = [n for n in facts.measures(result) if n not in result.not_in_export]
    in_hours = frozenset(m.name for m in result.declared if m.in_hours)
    both = unassigned.with_and_without_derived(
        [*result.unit_tables.tables()], names, in_hours
    )
    return Grid(
        caption="What rests on derived infusions: each measure over the whole log, and "
        "what is left of it without them",
        head=("measure", "with derived infusions", "without them"),
        rows=[
            (
                definition(str(row["measure"])).label,
                *(
                    _part(
                        row[f"numerator{which}"],
                        row[f"denominator{which}"],
                        decimals=1 if row["measure"] in in_hours else 0,
                    )
                    for which in ("", "_without")
                ),
            )
            for row in facts.rows_of(both)
        ],
        numeric=frozenset({1, 2}),
    )


def _known(value: float, written: str) -> str:
    return "too few" if math.isnan(value) else written.format(value)


def _p_value(value: float) -> str:
    return "under 0.001" if value < 0.001 else _known(value, "{:.3f}")


def _ward(ward: str) -> str:
    return "all wards" if ward == ALL else ward


def _share(part: float, whole: float) -> str:
    if not part:
        return "0"
    share = 100 * part / whole
    return f"{part:,.0f} ({f'{share:.0f}' if share >= 1 else 'under 1'} %)"


def empty_share(missing: int, rows: int) -> str:
    """Say how many cells are empty; a column that a ward never uses is no lack.

    Parameters
    ----------
    missing, rows : int
        Empty cells, and all of them.

    Returns
    -------
    str
        Number and share.
    """
    return "not charted here" if missing == rows else _share(missing, rows)


def _part(part: float, whole: float, *, decimals: int) -> str:
    if not whole > 0:  # nor where it is missing
        return "nothing judged"
    share = f"{100 * part / whole:.1f} %"
    hours = " h" if decimals else ""
    return f"{part:,.{decimals}f} of {whole:,.{decimals}f}{hours} ({share})"
