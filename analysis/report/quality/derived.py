"""Infusions that had to be derived, rows of none, and what rests on them."""

from analysis.audit import AuditResult
from analysis.quality import unassigned
from analysis.report import facts
from analysis.report.definitions import definition
from analysis.report.grid import Grid
from analysis.report.quality.record import Record, ward_said
from analysis.terms import ALL


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
            (ward_said(str(row["ward"])), *(f"{row[name]:,}" for name in numbers))
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


def _part(part: float, whole: float, *, decimals: int) -> str:
    if not whole > 0:  # nor where it is missing
        return "nothing judged"
    share = f"{100 * part / whole:.1f} %"
    hours = " h" if decimals else ""
    return f"{part:,.{decimals}f} of {whole:,.{decimals}f}{hours} ({share})"
