"""How a log was charted: blanks, round times, last digits, and the step of readings."""

import math

from analysis.quality import habits
from analysis.report import facts
from analysis.report.grid import Grid
from analysis.report.quality.record import Record, ward_said
from analysis.terms import ALL


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
        head=("column", *map(ward_said, wards)),
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
            ward_said(str(row["ward"])),
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
            ward_said(str(row["ward"])),
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


def _p_value(value: float) -> str:
    return "under 0.001" if value < 0.001 else _known(value, "{:.3f}")


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


def _known(value: float, written: str) -> str:
    return "too few" if math.isnan(value) else written.format(value)


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
