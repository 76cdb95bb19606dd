"""What the log cannot show, the reviewer's own page, the record, and cautions."""

import hashlib
from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from analysis.incident import facts
from analysis.incident.review import Incident
from analysis.incident.sections.words import cut, end_said, wards_said
from analysis.report.grid import Grid
from analysis.report.manifest import versions
from analysis.report.section import Section, section
from analysis.report.sections import words

#: What the reviewer writes, and how many lines there are for it.
_BLANKS = (
    ("What happened, in the reviewer's own words", 5),
    ("Explanation taken as confirmed, and the evidence for it", 3),
    ("Explanations ruled out, and why", 3),
    ("What stays unclear, and what would be needed to settle it", 2),
    ("Effect on the patient, on your service's own scale", 2),
    ("What was done, and what is recommended", 4),
)

_SIGNED = ("Reviewer, role", "Signature", "Date", "Second reviewer, signature, date")

_KNOWN = (
    ("planned_duration_h", "planned duration", "{:g} h"),
    ("start_volume_ml", "start volume, after priming", "{:g} mL"),
    ("made_up_to_ml", "made up to, before priming", "{:g} mL"),
    ("syringe_size_ml", "syringe size", "{:g} mL"),
)


def blind_spots(incident: Incident) -> Section:
    """Say what the log cannot show.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        A list.
    """
    return section("plain", grid=None, items=facts.cannot_show(incident))


def conclusion() -> Section:
    """Leave room for the reviewer.

    Returns
    -------
    Section
        Blanks to be filled in by hand.
    """
    return section("incident_conclusion", blanks=_BLANKS, signed=_SIGNED)


def record(incident: Incident) -> Section:
    """Say what was reviewed and from what: identity, files with their hashes, rows.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        Nothing of the time or the machine it was made on.
    """
    return section(
        "incident_record",
        pairs=list(_identity(incident)),
        files=_files_grid(incident),
        notes=incident.notes,
        set_aside=[
            f"{row['source']}: {cut(row['sentence'], row['source'])}"
            for row in incident.set_aside.to_dict("records")
        ],
        policy=incident.policy,
        policy_file=Path(incident.policy.path).name,
        policy_hash=hashlib.sha256(incident.policy.text.encode()).hexdigest(),
        noise=facts.reading_step_said(incident.noise),
    )


def _identity(incident: Incident) -> Iterator[tuple[str, str]]:
    known = incident.known
    yield "infusion", incident.infusion_id
    yield "patient", known["patient_id"]
    yield "driver", known["driver_id"] or "not charted"
    yield "ward", wards_said(incident)
    start = known["started_at"]
    yield "started", words.date(start) if pd.notna(start) else words.UNKNOWN
    yield "observed to", end_said(incident)
    for name, said, form in _KNOWN:
        yield said, form.format(known[name]) if pd.notna(known[name]) else "not charted"
    yield (
        "contents, as charted",
        cut(known["contents"], known["described_at"]) or "not charted",
    )
    yield "diluent", cut(known["diluent"], known["described_at"]) or "not charted"
    yield "end, as charted", known["end_reason"] or "no reason charted"
    rows = incident.rows["source"].tolist()
    yield "rows of the check log", f"{len(rows)}: {_sources(rows)}"
    if len(incident.superseded):
        replaced = incident.superseded["source"].tolist()
        yield "rows replaced", f"{len(replaced)}: {_sources(replaced)}"
    yield "described in", known["described_at"] or "no table of infusions"
    yield (
        "evaluable",
        known["evaluable"] + (f": {known['reason']}" if known["reason"] else ""),
    )


def _sources(sources: list[str]) -> str:
    """Name rows, the file once where it is one."""
    files = {source.rpartition(":")[0] for source in sources}
    if len(files) == 1 and sources:
        lines = ", ".join(source.rpartition(":")[2] for source in sources)
        return f"{files.pop()}, lines {lines}"
    return ", ".join(sources)


def _files_grid(incident: Incident) -> Grid:
    names = ("rows_read", "accepted", "rejected", "superseded", "exact_duplicates")
    rows = [
        (
            row["file"],
            row["table"],
            *(f"{row[name]:,}" for name in names),
            row["sha256"],
        )
        for row in incident.account.to_dict("records")
    ]
    return Grid(
        caption="Files read, opened for reading only",
        head=(
            "file",
            "holds",
            "rows read",
            "accepted",
            "rejected",
            "superseded",
            "exact duplicates",
            "SHA-256",
        ),
        rows=rows,
        numeric=frozenset({2, 3, 4, 5, 6}),
    )


def cautions(incident: Incident) -> Section:
    """Print what a reader must keep in mind.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        A numbered list.
    """
    return section("plain", grid=None, items=facts.cautions(incident))


def policy_in_force(incident: Incident) -> Section:
    """Print every limit in force and who set it.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        The policy's entries.
    """
    entries = incident.policy.entries()
    others = set(incident.policy.wards) - set(incident.rows["ward"])
    entries = entries[~entries["ward"].isin(others)]
    names = ["ward", "limit", "value", "set_by"]
    grid = Grid(
        caption=f"Policy in force for this infusion: {incident.policy.name}",
        head=("where", "limit", "value", "set by"),
        rows=entries[names].fillna("").astype("str").to_numpy().tolist(),
    )
    return section("plain", grid=grid, items=())


def made_with() -> Section:
    """Print the versions of the program and of what it rests on.

    Returns
    -------
    Section
        The same inputs, policy and versions give the same document.
    """
    made = ", ".join(f"{name} {number}" for name, number in versions().items())
    return section("incident_made_with", made=made)
