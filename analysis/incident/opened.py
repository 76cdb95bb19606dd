"""Open an incident from a notebook: from files named as text, or from the demo log."""

from collections.abc import Sequence
from importlib import resources
from pathlib import Path

from analysis.incident.review import Asked, Incident, review_incident
from analysis.intake.layout_file import load_layout
from analysis.policy import Policy

_DEMO = ("checks.csv", "infusions.csv", "lines.csv")


def open_incident(
    exports: Sequence[str], asked: Asked, *, policy: str = "", layout: str = ""
) -> Incident:
    """Gather all that bears on one infusion.

    Parameters
    ----------
    exports : sequence of str
        Files of the export; none: the demo log of an invented health service, with its
        own policy.
    asked : Asked
        Which infusion.
    policy : str
        File of a policy; empty: the example, or the demo's own.
    layout : str
        File of a layout; empty: none.

    Returns
    -------
    Incident
        As given by `review_incident`.
    """
    limits = Policy.load(Path(policy)) if policy else None
    mapped = load_layout(Path(layout)) if layout else None
    if exports:
        paths = [Path(name) for name in exports]
        return review_incident(paths, limits or Policy.example(), asked, layout=mapped)
    with resources.as_file(resources.files("analysis._demo")) as folder:
        paths = [folder / name for name in _DEMO]
        return review_incident(
            paths, limits or Policy.load(folder / "policy.toml"), asked, layout=mapped
        )
