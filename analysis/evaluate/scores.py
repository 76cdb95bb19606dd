"""What an audit found, scored against the truth planted in a simulated log."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.synthetic import NO_EVENT, ZONE, SyntheticLog
from analysis.terms import FindingGroup, FindingKind

#: Smallest event counted: delivery worth so many hours.
LEAST_EVENT_H = 1.5

#: False flags per 1,000 uneventful infusions at which rules are compared.
RATES = (2, 10, 50)

#: Redrawn samples of infusions behind a Monte Carlo error.
_REDRAWN = 200

#: Bands of event probability of the reliability table.
_BANDS = (0.0, 0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 1.0)

#: The planted onset stands to the minute.
_MINUTE = pd.Timedelta(minutes=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Infusions that could be evaluated, with what was planted and what was found.

    Attributes
    ----------
    truth : DataFrame
        Indexed by infusion_id: kind (planted), is_event (large enough to count),
        is_quiet (nothing planted), slip (kind of slip, or none), onset, volume_ml.
    probability : Series of float
        Event probability, on the same index.
    findings : DataFrame
        Delivery findings, indexed by infusion_id.
    """

    truth: pd.DataFrame
    probability: pd.Series
    findings: pd.DataFrame


def case(infusions: pd.DataFrame, findings: pd.DataFrame, log: SyntheticLog) -> Case:
    """Put what an audit found beside what was planted.

    Parameters
    ----------
    infusions, findings : DataFrame
        Of the audit: infusion_id, evaluable and event_probability; all findings.
    log : SyntheticLog
        With its truth.

    Returns
    -------
    Case
        Infusions that cannot be evaluated are left out.
    """
    known = infusions.set_index("infusion_id")
    known = known[known["evaluable"] == "yes"]
    truth = log.truth_infusions.set_index("infusion_id")
    truth = truth.loc[truth.index.isin(known.index)]
    hours = pd.to_numeric(truth["hours_equivalent"], errors="coerce").abs()
    other = log.truth_other[log.truth_other["kind"].str.startswith("slip")]
    slips = other.drop_duplicates("infusion_id").set_index("infusion_id")["kind"]
    onset = pd.to_datetime(truth["onset"].where(truth["onset"] != ""), errors="coerce")
    findings = findings[findings["group"] == FindingGroup.DELIVERY]
    return Case(
        truth=pd.DataFrame(
            {
                "kind": truth["kind"],
                "is_event": hours >= LEAST_EVENT_H,
                "is_quiet": truth["kind"] == NO_EVENT,
                "slip": slips.reindex(truth.index).fillna("no slip"),
                "onset": onset.dt.tz_localize(ZONE),
                "volume_ml": pd.to_numeric(truth["volume_ml"], errors="coerce"),
            }
        ),
        probability=known["event_probability"].reindex(truth.index),
        findings=findings.set_index("infusion_id"),
    )


def rule_row(
    rule: str, score: pd.Series, flagged: np.ndarray, truth: pd.DataFrame
) -> dict[str, object]:
    """Score one rule.

    Parameters
    ----------
    rule : str
        Its name.
    score : Series of float
        The higher, the likelier an event; on the index of `truth`.
    flagged : array of bool
        What the rule flags at its own limit, in the same order.
    truth : DataFrame
        `Case.truth`.

    Returns
    -------
    dict
        rule, events, found, found_share, found_se, uneventful, false, false_per_1000,
        false_se, and of each of `RATES` at_R and at_R_se: the share of events found by
        the limit that leaves so many false flags. Errors of these are by bootstrap of
        infusions, the others binomial.
    """
    event, quiet = truth["is_event"].to_numpy(), truth["is_quiet"].to_numpy()
    events, found = int(event.sum()), int((event & flagged).sum())
    none, false = int(quiet.sum()), int((quiet & flagged).sum())
    share, rate = found / max(events, 1), false / max(none, 1)
    row: dict[str, object] = {
        "rule": rule,
        "events": events,
        "found": found,
        "found_share": share,
        "found_se": float(np.sqrt(share * (1 - share) / max(events, 1))),
        "uneventful": none,
        "false": false,
        "false_per_1000": 1000 * rate,
        "false_se": float(1000 * np.sqrt(rate * (1 - rate) / max(none, 1))),
    }
    of_events, of_none = score.to_numpy()[event], score.to_numpy()[quiet]
    rng = np.random.default_rng(1)
    redrawn = [
        _matched(rng.choice(of_events, events), rng.choice(of_none, none))
        for _ in range(_REDRAWN if events and none else 0)
    ]
    spread = np.std(redrawn, axis=0) if redrawn else np.full(len(RATES), np.nan)
    at = _matched(of_events, of_none) if redrawn else spread
    for place, wanted in enumerate(RATES):
        row[f"at_{wanted}"] = float(at[place])
        row[f"at_{wanted}_se"] = float(spread[place])
    return row


def _matched(of_events: np.ndarray, of_none: np.ndarray) -> np.ndarray:
    """Give the share of events above the limits that leave the wanted false flags."""
    limits = np.quantile(of_none, [1 - rate / 1000 for rate in RATES])
    share: np.ndarray = (of_events[:, None] > limits).mean(0)
    return share


def false_by_slip(own: Case) -> pd.DataFrame:
    """Count false flags by the slip that the uneventful infusion has.

    Parameters
    ----------
    own : Case
        What was planted and found.

    Returns
    -------
    DataFrame
        Indexed by kind of slip: infusions, flagged.
    """
    quiet = own.truth[own.truth["is_quiet"]]
    flagged = pd.Series(quiet.index.isin(own.findings.index), index=quiet.index)
    table: pd.DataFrame = flagged.groupby(quiet["slip"]).agg(["size", "sum"])
    return table.set_axis(["infusions", "flagged"], axis=1)


def kinds(own: Case) -> pd.DataFrame:
    """Count planted kinds (rows) by the kind found (columns), of events found.

    Parameters
    ----------
    own : Case
        What was planted and found.

    Returns
    -------
    DataFrame
        Counts.
    """
    both = _found(own)
    return pd.crosstab(both["kind"], both["kind_found"])


def _found(own: Case) -> pd.DataFrame:
    """Give planted events that have a finding, with the finding beside."""
    planted = own.truth[~own.truth["is_quiet"]]
    names = [
        "kind",
        "began_earliest",
        "began_latest",
        "volume_ml",
        "volume_low_ml",
        "volume_high_ml",
    ]
    said = own.findings[names].rename(
        columns={"kind": "kind_found", "volume_ml": "volume_found_ml"}
    )
    both = planted.join(said, how="inner")
    return both.assign(
        is_right=_one_stall(both["kind"]) == _one_stall(both["kind_found"])
    )


def _one_stall(kind: pd.Series) -> pd.Series:
    return kind.replace(str(FindingKind.STALL_TO_END), str(FindingKind.STALL))


def intervals_held(own: Case) -> pd.DataFrame:
    """Tell how often windows and intervals hold what was planted.

    Parameters
    ----------
    own : Case
        What was planted and found.

    Returns
    -------
    DataFrame
        Indexed by planted kind and "all": found, right (share with the right kind),
        onsets, onset_held, onset_held_right (of those with the right kind: another kind
        means another window), onset_h (median width), volumes (of those with the right
        kind), volume_held, volume_ml (median width), volume_error_ml (mean absolute)
        and volume_bias_ml (found minus planted).
    """
    both = _found(own)
    began, until = both["began_earliest"], both["began_latest"]
    has_onset = both["onset"].notna() & began.notna() & until.notna()
    held = (both["onset"] >= began - _MINUTE) & (both["onset"] <= until + _MINUTE)
    width = (until - began).dt.total_seconds() / 3600
    has_volume = both["is_right"] & both["volume_found_ml"].notna()
    within = both["volume_ml"].between(both["volume_low_ml"], both["volume_high_ml"])
    off = both["volume_found_ml"] - both["volume_ml"]
    each = pd.DataFrame(
        {
            "found": True,
            "right": both["is_right"].astype("float64"),
            "onsets": has_onset,
            "onset_held": held.astype("float64").where(has_onset),
            "onset_held_right": held.astype("float64").where(
                has_onset & both["is_right"]
            ),
            "onset_h": width.where(has_onset),
            "volumes": has_volume,
            "volume_held": within.astype("float64").where(has_volume),
            "volume_ml": (both["volume_high_ml"] - both["volume_low_ml"]).where(
                has_volume
            ),
            "volume_error_ml": off.abs().where(has_volume),
            "volume_bias_ml": off.where(has_volume),
        }
    )
    how = dict.fromkeys(each, "mean") | {
        "found": "sum",
        "onsets": "sum",
        "volumes": "sum",
        "onset_h": "median",
        "volume_ml": "median",
    }
    table = each.groupby(both["kind"]).agg(how)
    whole = each.groupby(pd.Series("all", index=each.index)).agg(how)
    return pd.concat([table, whole])


def reliability(own: Case) -> pd.DataFrame:
    """Compare event probabilities with the share that has an event.

    Parameters
    ----------
    own : Case
        What was planted and found.

    Returns
    -------
    DataFrame
        One row a band of probability: low, high, infusions, said (mean probability),
        found (share with an event of any size) and found_se.
    """
    band = pd.cut(own.probability, list(_BANDS), include_lowest=True)
    frame = pd.DataFrame({"said": own.probability, "found": ~own.truth["is_quiet"]})
    by = frame.groupby(band, observed=True)
    table = by.mean().assign(infusions=by.size())
    share, n = table["found"], table["infusions"]
    return pd.DataFrame(
        {
            "low": [each.left for each in table.index],
            "high": [each.right for each in table.index],
            "infusions": n.to_numpy(),
            "said": table["said"].to_numpy(),
            "found": share.to_numpy(),
            "found_se": np.sqrt((share * (1 - share) / n).to_numpy()),
        }
    )


def expected_false(own: Case) -> tuple[float, int]:
    """Give false flags as the list itself expects them, and as they are.

    Parameters
    ----------
    own : Case
        What was planted and found.

    Returns
    -------
    tuple
        Sum of 1 - event_probability over delivery findings, and findings of uneventful
        infusions.
    """
    listed = own.findings[own.findings.index.isin(own.truth.index)]
    quiet = own.truth["is_quiet"].reindex(listed.index)
    return float((1 - listed["event_probability"]).sum()), int(quiet.sum())
