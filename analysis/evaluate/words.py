"""What a simulation found, in lines."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from analysis.evaluate import Evaluation
from analysis.evaluate.scores import LEAST_EVENT_H, RATES
from analysis.evaluate.settings import SETTINGS


def evaluation_lines(outcome: Evaluation) -> list[str]:
    """Say in lines what a simulation found.

    Parameters
    ----------
    outcome : Evaluation
        As given by `evaluate`.

    Returns
    -------
    list of str
        Each figure with its n and Monte Carlo error.
    """
    return [
        f"{outcome.infusions} simulated infusions, seed {outcome.seed}, setting "
        f"{outcome.setting}: {SETTINGS[outcome.setting].title}. Events worth "
        f"{LEAST_EVENT_H:g} h of delivery or more; +/- is one Monte Carlo standard "
        "error.",
        *(line for row in outcome.table.to_dict("records") for line in _rule(row)),
        f"The audit lists an event probability over {outcome.limit:.2f}. False flags "
        f"by the list itself (sum of 1 - probability) {outcome.false_said:.1f}; "
        f"planted with nothing and listed {outcome.false_found}.",
        "False flags by what else the infusion has: "
        + "; ".join(
            f"{name} {row['flagged']} of {row['infusions']}"
            for name, row in outcome.slips.iterrows()
        )
        + ".",
        *_intervals(outcome.intervals),
        "Planted kind (rows) and kind found (columns):",
        *outcome.kinds.to_string().splitlines(),
        *_reliability(outcome.reliability),
        "By simulation, not measured on your wards.",
    ]


def _share(share: float, n: float) -> str:
    error = float(np.sqrt(share * (1 - share) / max(n, 1)))
    return f"{100 * share:.1f} +/- {100 * error:.1f} %"


def _rule(row: dict[object, object]) -> Iterator[str]:
    own = {str(name): value for name, value in row.items()}
    numbers = {name: float(str(value)) for name, value in own.items() if name != "rule"}
    yield (
        f"{own['rule']}: {own['found']} of {own['events']} events found "
        f"({100 * numbers['found_share']:.1f} +/- {100 * numbers['found_se']:.1f} %), "
        f"{numbers['false_per_1000']:.1f} +/- {numbers['false_se']:.1f} false flags "
        f"per 1,000 uneventful infusions ({own['false']} of {own['uneventful']})"
    )
    at = ", ".join(
        f"{100 * numbers[f'at_{rate}']:.1f} +/- {100 * numbers[f'at_{rate}_se']:.1f} % "
        f"at {rate}"
        for rate in RATES
    )
    yield f"  with the limit that leaves so many false flags per 1,000: {at}"


def _intervals(table: pd.DataFrame) -> Iterator[str]:
    if table.empty:
        return
    for name, row in table.iterrows():
        line = (
            f"Found {name} ({row['found']:.0f}): kind right "
            f"{_share(row['right'], row['found'])}, stall and stall_to_end as one"
        )
        if row["onsets"]:
            line += (
                "; onset window holds the onset "
                f"{_share(row['onset_held'], row['onsets'])} of "
                f"{row['onsets']:.0f} (kind right: "
                f"{100 * row['onset_held_right']:.1f} %), median "
                f"{row['onset_h']:.1f} h wide"
            )
        if row["volumes"]:
            line += (
                "; volume interval holds the volume "
                f"{_share(row['volume_held'], row['volumes'])} of "
                f"{row['volumes']:.0f}, median {row['volume_ml']:.2f} mL wide, error "
                f"{row['volume_error_ml']:.2f} mL, bias {row['volume_bias_ml']:+.2f} mL"
            )
        yield line + "."


def _reliability(table: pd.DataFrame) -> Iterator[str]:
    yield "Event probability, as said and as found:"
    for row in table.to_dict("records"):
        yield (
            f"  {max(row['low'], 0):.2f} to {row['high']:.2f}: {row['infusions']} "
            f"infusions, said {100 * row['said']:.1f} %, found "
            f"{100 * row['found']:.1f} +/- {100 * row['found_se']:.1f} %"
        )
