"""Logs to try the audit on: an ordinary one, a hard one, few events and many.

More events and slips than on a real ward, so that both shares can be measured.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from analysis.synthetic import (
    DEMO_PLANTING,
    WARDS,
    SyntheticLog,
    WardHabits,
    make_log,
)
from analysis.terms import Entry

#: Infusions that `make_log` makes of the demo's wards in its days, about.
_DEMO_INFUSIONS, _DAYS = 410, 62

#: In a hard log: infusions with a slip that have a second one, and infusions of a ward
#: that are read otherwise than the rest.
_SECOND_SLIP, _OTHER_READING = 0.3, 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One kind of simulated log.

    Attributes
    ----------
    name : str
        As the command calls it.
    title : str
        In words.
    event_share, slip_share : float
        Share of infusions with a delivery event and with a slip.
    wards : sequence of WardHabits
        Wards and their habits.
    is_spoiled : bool
        Some infusions have a second slip, and wards read some infusions otherwise.
    """

    name: str
    title: str
    event_share: float = 0.12
    slip_share: float = 0.10
    wards: Sequence[WardHabits] = WARDS
    is_spoiled: bool = False


def _hard(place: int, ward: WardHabits) -> WardHabits:
    """Make clock errors larger, more checks missing, and some wards otherwise."""
    return replace(
        ward,
        time_error_min=12.0,
        lapse_share=max(ward.lapse_share, 0.12),
        night_lapse_share=max(ward.night_lapse_share, 0.25),
        missing_volume_share=max(ward.missing_volume_share, 0.10),
        check_every_h=8.0 if place % 3 == 0 else 4.0,
        planned_h=12.0 if place % 3 == 1 else 24.0,
    )


SETTINGS = {
    setting.name: setting
    for setting in (
        Setting(name="ordinary", title="six wards of different habits"),
        Setting(
            name="hard",
            title="clock errors of 12 min, missing checks, a third of the wards with "
            "checks every 8 h and a third with infusions of 12 h, second slips, two "
            "ways of reading in one ward",
            wards=tuple(_hard(place, ward) for place, ward in enumerate(WARDS)),
            is_spoiled=True,
        ),
        Setting(
            name="few_events", title="events in 1 % of infusions", event_share=0.01
        ),
        Setting(
            name="many_events", title="events in 30 % of infusions", event_share=0.30
        ),
    )
}


def simulated_log(infusions: int, seed: int, setting: str = "ordinary") -> SyntheticLog:
    """Make a log with about so many infusions.

    Parameters
    ----------
    infusions : int
        Infusions wanted, about.
    seed : int
        The same seed gives the same log.
    setting : str
        A name of `SETTINGS`.

    Returns
    -------
    SyntheticLog
        Of the setting's wards, with its shares of events and slips.
    """
    chosen = SETTINGS[setting]
    scale = infusions / _DEMO_INFUSIONS
    rng = np.random.default_rng(seed)
    log = make_log(
        rng=rng,
        wards=[
            replace(ward, infusions_per_month=ward.infusions_per_month * scale)
            for ward in chosen.wards
        ],
        first_day=date(2026, 5, 1),  # no clock change: one thing at a time
        days=_DAYS,
        planting=replace(
            DEMO_PLANTING,
            event_share=chosen.event_share,
            slip_share=chosen.slip_share,
        ),
    )
    if not chosen.is_spoiled:
        return log
    return replace(
        log, checks=_second_slips(_read_otherwise(log.checks, rng), log, rng)
    )


def _read_otherwise(checks: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Read some infusions to 1 mL, or by the volume given where a ward writes it."""
    ids = checks["infusion_id"].unique()
    some = checks["infusion_id"].isin(ids[rng.random(len(ids)) < _OTHER_READING])
    plain = some & _has_volume(checks)
    given = plain & (checks["volume_delivered_ml"] != "")
    rest = plain & ~given
    volume = checks["volume_remaining_ml"].mask(given, "")
    whole = checks.loc[rest, "volume_remaining_ml"].astype("float64").round()
    volume[rest] = whole.astype("int64").astype("str")
    return checks.assign(volume_remaining_ml=volume)


def _has_volume(checks: pd.DataFrame) -> pd.Series:
    """Tell the plain checks with a volume that can be read."""
    volume = pd.to_numeric(checks["volume_remaining_ml"], errors="coerce")
    return (checks["entry"] == Entry.CHECK) & volume.notna()


def _second_slips(
    checks: pd.DataFrame, log: SyntheticLog, rng: np.random.Generator
) -> pd.DataFrame:
    """Misread one more plain check of some infusions that have a slip, by 1 to 5 mL."""
    slips = log.truth_other[log.truth_other["kind"].str.startswith("slip")]
    ids = slips["infusion_id"].unique()
    ids = ids[rng.random(len(ids)) < _SECOND_SLIP]
    taken = checks.index.isin(slips["line"].astype("int64") - 2)
    free = checks[checks["infusion_id"].isin(ids) & _has_volume(checks) & ~taken]
    free = free.iloc[rng.permutation(len(free))].drop_duplicates("infusion_id")
    volume = free["volume_remaining_ml"].astype("float64")
    off = rng.choice([1.0, 2.0, 5.0], len(free)) * rng.choice([-1.0, 1.0], len(free))
    wrong = (volume + off).where(volume + off >= 0, volume + np.abs(off))
    changed = checks["volume_remaining_ml"].copy()
    changed[free.index] = wrong.map("{:g}".format)
    return checks.assign(volume_remaining_ml=changed)
