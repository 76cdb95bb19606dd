"""What the audit finds and flags in logs as small as those of a small hospice.

A log of a few infusions says little of its own noise and slips, and the threshold
cannot be found on it: a usual one stands in. A simulated log is cut into such small
ones, each of one ward and of successive infusions, and each is judged by itself.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.delivery import judge_delivery
from analysis.evaluate.scores import LEAST_EVENT_H, RATES, case, rule_row
from analysis.evaluate.settings import SETTINGS
from analysis.intake import Log
from analysis.policy import Policy
from analysis.synthetic import SyntheticLog

#: Infusions of a small log, and how many such logs the command judges of each size.
SMALL_SIZES, SMALL_LOGS = (5, 15, 30), 200


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallLogs:
    """What was found in small logs.

    Attributes
    ----------
    setting : str
        A name of `SETTINGS`.
    seed : int
        Seed of the simulated log.
    table : DataFrame
        One row a size: size, logs, limit (event probability from which small logs list
        an infusion), the columns of `rule_row`, and limit_R for each of its rates: the
        limit that leaves so many false flags per 1,000.
    """

    setting: str
    seed: int
    table: pd.DataFrame


def evaluate_small(
    log: Log,
    made: SyntheticLog,
    *,
    logs: int,
    sizes: Sequence[int] = SMALL_SIZES,
    progress: Callable[[str], None] | None = None,
) -> pd.DataFrame:
    """Judge small logs cut from a large one, each by itself.

    Parameters
    ----------
    log : Log
        The simulated log as read.
    made : SyntheticLog
        The same with its truth.
    logs : int
        Small logs of each size, at the most; they are spread over the wards.
    sizes : sequence of int
        Infusions of a small log.
    progress : callable, optional
        Called with a few words at each step.

    Returns
    -------
    DataFrame
        As `SmallLogs.table`: small logs of one size are scored together.
    """
    say = progress or (lambda _: None)
    rows: list[dict[str, object]] = []
    for size in sizes:
        say(f"logs of {size} infusions")
        parts = list(_cut(log, size))
        some = np.linspace(0, len(parts) - 1, min(logs, len(parts))).astype("int64")
        found = [judge_delivery(parts[i], Policy.example()) for i in some]
        own = case(
            pd.concat([each.infusions for each in found]).reset_index(
                names="infusion_id"
            ),
            pd.concat([each.findings for each in found]),
            made,
        )
        listed = np.asarray(own.truth.index.isin(own.findings.index))
        row = rule_row("the audit's rule", own.probability, listed, own.truth)
        quiet = own.probability[own.truth["is_quiet"].to_numpy()]
        row |= {f"limit_{r}": float(quiet.quantile(1 - r / 1000)) for r in RATES}
        limit = found[0].threshold.probability
        rows.append({"size": size, "logs": len(some), "limit": limit, **row})
    return pd.DataFrame(rows)


def _cut(log: Log, size: int) -> Iterator[Log]:
    """Cut a log into those of so many successive infusions of one ward."""
    for _, ward in log.infusions.sort_values("started_at").groupby("ward"):
        for at in range(0, len(ward) - size + 1, size):
            ids = ward.index[at : at + size]
            yield replace(
                log,
                checks=log.checks[log.checks["infusion_id"].isin(ids)],
                infusions=log.infusions.loc[ids],
            )


def small_lines(outcome: SmallLogs) -> list[str]:
    """Say in lines what was found in small logs.

    Parameters
    ----------
    outcome : SmallLogs
        As given by `evaluate_small`.

    Returns
    -------
    list of str
        Each figure with its n and Monte Carlo error.
    """
    lines = [
        f"Small logs, seed {outcome.seed}, setting {outcome.setting}: "
        f"{SETTINGS[outcome.setting].title}. Each is judged by itself. Events worth "
        f"{LEAST_EVENT_H:g} h of delivery or more; +/- is one Monte Carlo standard "
        "error."
    ]
    for row in outcome.table.to_dict("records"):
        at = ", ".join(f"{row[f'limit_{rate}']:.2f} for {rate}" for rate in RATES)
        lines += [
            f"{row['logs']} logs of {row['size']} infusions: {row['found']} of "
            f"{row['events']} events found ({100 * row['found_share']:.1f} +/- "
            f"{100 * row['found_se']:.1f} %), {row['false_per_1000']:.1f} +/- "
            f"{row['false_se']:.1f} false flags per 1,000 uneventful infusions "
            f"({row['false']} of {row['uneventful']})",
            f"  listed over {row['limit']:.2f}; limits that leave so many false flags "
            f"per 1,000: {at}",
        ]
    return [*lines, "By simulation, not measured on your wards."]
