"""A ward's sites and rows of the month, in words."""

from collections.abc import Mapping

from analysis.audit import AuditResult
from analysis.report import facts
from analysis.report.sections import words


def sites_in_words(found: facts.WardLog) -> list[tuple[str, str]]:
    """Say what was seen at a ward's sites.

    Parameters
    ----------
    found : WardLog
        Its counts.

    Returns
    -------
    list of tuple of str
        What, and what is to be said of it; nothing without sites.
    """
    left_out = sum(found.sites_left_out.values())
    if not (found.sites or left_out or found.looked):
        return []
    said = [
        (
            "Sites whose watch ended",
            f"{found.sites:,} judged, {found.with_reaction:,} of them with a reaction"
            + _listed("not judged", found.sites_left_out),
        ),
        (
            "Signs charted",
            (_counts(found.signs) or "none") + f"; signs looked for at {found.looked:,}"
            f" of {found.rows:,} checks",
        ),
    ]
    if found.places:
        said.append(("Where the sites were", _counts(found.places)))
    return said


def log_in_words(found: facts.WardLog, result: AuditResult) -> list[tuple[str, str]]:
    """Say how a ward charted, as quality of the record and not as blame.

    Parameters
    ----------
    found : WardLog
        Its counts.
    result : AuditResult
        The audit; what is not in the export is no lack of the ward.

    Returns
    -------
    list of tuple of str
        What, and what is to be said of it.
    """
    has_signs = bool((result.readings["site_signs"].fillna("") != "").any())
    blank = f"no volume in {_share(found.without_volume, found.rows)}" + (
        f", no site signs in {_share(found.without_signs, found.rows)}"
        if has_signs
        else ""
    )
    said = [
        ("Rows", f"{found.rows:,}: {blank}"),
        ("At an exact hour", _share(found.on_the_hour, found.rows)),
        ("Doubtful readings", f"{found.doubtful:,}"),
        (
            "End not recorded",
            f"{found.end_not_recorded:,} of {words.some(found.infusions, 'infusion')}"
            if found.infusions
            else "no infusion",
        ),
    ]
    if found.not_evaluable:
        said.append(("Not evaluable", _counts(found.not_evaluable)))
    if found.reading_steps_ml:
        said.append(("Volumes read in steps of", _span(found.reading_steps_ml, "mL")))
    if found.shortest_stall_h:
        span = _span(found.shortest_stall_h, "h")
        said.append(("Shortest stop that would show", span))
    return said


def _counts(found: Mapping[str, int]) -> str:
    return ", ".join(f"{name} {n:,}" for name, n in found.items())


def _listed(what: str, found: Mapping[str, int]) -> str:
    return f"; {what}: {_counts(found)}" if found else ""


def _share(part: int, whole: int) -> str:
    return f"{part:,} ({100 * part / whole:.0f} %)" if part else "0"


def _span(values: tuple[float, ...], unit: str) -> str:
    low, high = values[0], values[-1]
    return f"{low:g} {unit}" if low == high else f"{low:g} to {high:g} {unit}"
