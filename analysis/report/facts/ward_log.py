"""What was seen at a ward's sites in the month, and how it charted."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from analysis.audit import AuditResult
from analysis.report.cells import texts
from analysis.report.facts.figures import REACTIONS
from analysis.terms import ALL, EndKind, SiteOutcome, SiteSign, Tally, YesNo


@dataclass(frozen=True, slots=True, kw_only=True)
class WardLog:
    """One ward's sites and rows of the report's month.

    Attributes
    ----------
    sites, with_reaction : int
        Sites judged whose watch ended in the month, and those of them with a reaction.
    sites_left_out : mapping of str to int
        Sites that could not be judged, by reason.
    signs : mapping of str to int
        Checks at which a sign was charted, by sign, the commonest first.
    looked : int
        Checks at which signs, or none, were charted.
    places : mapping of str to int
        Sites by where they were, the commonest first; empty without site ids.
    rows, without_volume, without_signs, on_the_hour, doubtful : int
        Accepted rows, and those of them without a volume, without site signs, at an
        exact hour of the clock, listed as doubtful.
    infusions, end_not_recorded : int
        Infusions of the month, and those of them without an end.
    not_evaluable : mapping of str to int
        Infusions that could not be compared with their line, by reason.
    reading_steps_ml : tuple of float
        How fine volumes are read in the whole log [mL], sorted.
    shortest_stall_h : tuple of float
        Shortest stops the readings could have shown [h], sorted; empty: not known.
    """

    sites: int
    with_reaction: int
    sites_left_out: Mapping[str, int]
    signs: Mapping[str, int]
    looked: int
    places: Mapping[str, int]
    rows: int
    without_volume: int
    without_signs: int
    on_the_hour: int
    doubtful: int
    infusions: int
    end_not_recorded: int
    not_evaluable: Mapping[str, int]
    reading_steps_ml: tuple[float, ...]
    shortest_stall_h: tuple[float, ...]


def ward_log(result: AuditResult, ward: str) -> WardLog:
    """Count what was seen at a ward's sites in the month, and how it charted.

    Parameters
    ----------
    result : AuditResult
        The audit.
    ward : str
        A ward, or "all".

    Returns
    -------
    WardLog
        Counts; nothing in it is judged.
    """
    units = _of(result.unit_tables.of(REACTIONS), ward, result.month)
    is_out = units["tally"] == Tally.EXCLUDED
    rows = _of(result.readings, ward, result.month)
    signs = pd.Series(texts(rows["site_signs"]), index=rows.index, dtype="str")
    infusions = _of(result.infusions, ward, result.month)
    off = infusions["evaluable"] != YesNo.YES
    noise = _of_ward(result.noise, ward)
    return WardLog(
        sites=int((~is_out).sum()),
        with_reaction=int((~is_out & (units["outcome"] == SiteOutcome.REACTION)).sum()),
        sites_left_out=_counted(texts(units.loc[is_out, "reason"])),
        signs=_counted(
            [
                s
                for cell in signs
                for s in cell.split(";")
                if s not in {"", SiteSign.NONE}
            ]
        ),
        looked=int((signs != "").sum()),
        places=_places(rows),
        rows=len(rows),
        without_volume=int(
            rows[["volume_remaining_ml", "volume_delivered_ml"]]
            .isna()
            .all(axis=1)
            .sum()
        ),
        without_signs=int((signs == "").sum()),
        on_the_hour=int((rows["checked_at"].dt.minute == 0).sum()),
        doubtful=int((rows["doubtful"] == YesNo.YES).sum()),
        infusions=len(infusions),
        end_not_recorded=int((infusions["end_kind"] == EndKind.NOT_RECORDED).sum()),
        not_evaluable=_counted(texts(infusions.loc[off, "reason"])),
        reading_steps_ml=_different(noise["reading_step_ml"]),
        shortest_stall_h=_different(noise["shortest_stall_h"]),
    )


def _of(frame: pd.DataFrame, ward: str, month: str) -> pd.DataFrame:
    return _of_ward(frame[frame["month"] == month], ward)


def _of_ward(frame: pd.DataFrame, ward: str) -> pd.DataFrame:
    return frame if ward == ALL else frame[frame["ward"] == ward]


def _places(rows: pd.DataFrame) -> dict[str, int]:
    pairs = set(zip(texts(rows["site_id"]), texts(rows["site_location"]), strict=True))
    return _counted([place for site, place in pairs if site and place])


def _counted(found: list[str]) -> dict[str, int]:
    """Count, the commonest first, and of equally common ones by name."""
    return dict(sorted(Counter(found).items(), key=lambda one: (-one[1], one[0])))


def _different(values: pd.Series) -> tuple[float, ...]:
    return tuple(sorted({float(value) for value in values.dropna()}))
