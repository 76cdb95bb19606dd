"""Tables of the record's quality: how the log was charted, as the report prints it."""

from collections.abc import Sequence

from analysis.audit import AuditResult
from analysis.quality import habits, unassigned
from analysis.report import facts
from analysis.report.definitions import definition
from analysis.report.grid import Grid
from analysis.terms import ALL


def completeness(result: AuditResult) -> Grid:
    """Show the empty cells of each column, by ward.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Grid
        One row a column that is in this export.
    """
    missing = habits.missing_by_column(result.readings)
    wards = [*facts.wards(result), ALL]
    by = missing.set_index(["column", "ward"])
    rows = [
        (
            column,
            *(
                _empty(
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


def round_times(result: AuditResult) -> Grid:
    """Show how many times stand on round marks of the clock, by ward.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Grid
        One row a ward, all wards last.
    """
    found = habits.round_times(result.readings)
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


def last_digits(result: AuditResult) -> Grid:
    """Show the last digits of volumes and minutes, by ward.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Grid
        One row a ward and kind, shares in per cent.
    """
    found = habits.last_digits(result.readings)
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


def measurement_changes(result: AuditResult) -> list[str]:
    """Say where a ward began to read its volumes in another step.

    Parameters
    ----------
    result : AuditResult
        The audit.

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
        for row in facts.rows_of(habits.resolution_changes(result.readings))
    ]


def bucket(result: AuditResult) -> Grid | None:
    """Show the rows that belong to no infusion, and the infusions that were derived.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Grid or None
        None where every row names its infusion.
    """
    found = unassigned.unassigned_rows(result.readings)
    numbers = ("rows", "unassigned", "no_driver", "patients", "derived_infusions")
    whole = found[found["ward"] == ALL]
    if not whole[["unassigned", "derived_infusions"]].to_numpy().any():
        return None
    return Grid(
        caption="Rows that nobody can assign to an infusion stand in no measure of "
        "checks or delivery; infusions were derived where no id is charted",
        head=(
            "ward",
            "rows",
            "without an infusion",
            "of those, without a driver",
            "patients with such rows",
            "infusions derived",
        ),
        rows=[
            (_ward(str(row["ward"])), *(f"{row[name]:,}" for name in numbers))
            for row in facts.rows_of(found)
        ],
        numeric=frozenset(range(1, 6)),
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
    both = unassigned.with_and_without_derived(result.units, names, in_hours)
    return Grid(
        caption="What rests on derived infusions: each measure over the whole log",
        head=("measure", "with derived infusions", "without them"),
        rows=[
            (
                definition(str(row["measure"])).label,
                _part(row["numerator"], row["denominator"]),
                _part(row["numerator_without"], row["denominator_without"]),
            )
            for row in facts.rows_of(both)
        ],
        numeric=frozenset({1, 2}),
    )


def _ward(ward: str) -> str:
    return "all wards" if ward == ALL else ward


def _share(part: float, whole: float) -> str:
    return f"{part:,.0f} ({100 * part / whole:.0f} %)" if part else "0"


def _empty(missing: int, rows: int) -> str:
    """Say how many cells are empty; a column that a ward never uses is no lack."""
    return "not charted here" if missing == rows else _share(missing, rows)


def _part(part: float, whole: float) -> str:
    if not whole > 0:  # nor where it is missing
        return "nothing due"
    return f"{part:,.1f} of {whole:,.1f} ({100 * part / whole:.1f} %)"


def grids(result: AuditResult) -> Sequence[Grid]:
    """Give all tables of the record's quality that have something to show.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    sequence of Grid
        In the order of the report.
    """
    every = [completeness, round_times, last_digits, bucket, without_derived]
    return [grid for make in every if (grid := make(result)) is not None and grid.rows]
