"""How much, and what it may have been: amounts, explanations, checks and history."""

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from analysis.delivery.contents import digits
from analysis.delivery.sentences import VOLUME_DECIMALS
from analysis.incident import facts
from analysis.incident.facts.related import Other
from analysis.incident.possible import WORDS
from analysis.incident.review import Incident
from analysis.incident.sections.words import probability
from analysis.report import facts as report_facts
from analysis.report.grid import Grid
from analysis.report.section import Section, section
from analysis.report.sections import words
from analysis.terms import CheckOutcome, FindingGroup, Tally

#: Other infusions that the page shows; those with a finding come first where they are
#: more.
_MOST_OTHERS = 40


def amounts(incident: Incident) -> Section:
    """Say how much was not delivered, or given early, and of what.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        One row an explanation and drug.
    """
    found = facts.amounts(incident)
    basis = found[0].drugs if found else None
    return section(
        "incident_amounts",
        grid=_amounts_grid(found) if found else None,
        has_finding=facts.delivery_finding(incident) is not None,
        missing=facts.contents_said(incident),
        whole="" if basis is None else f"{basis.whole_ml:g} mL",
        is_made_up=basis is not None and basis.is_made_up,
    )


def _amounts_grid(found: tuple[facts.Amount, ...]) -> Grid:
    rows = []
    for one in found:
        low, high = sorted((_told(one.low_ml), _told(one.high_ml)))
        if one.low_ml * one.high_ml < 0:
            low = 0.0
        rows.append(
            (
                WORDS[one.kind],
                probability(one.probability),
                "volume",
                f"{_told(one.volume_ml):.1f} mL",
                f"{low:.1f} to {high:.1f} mL",
                "not delivered" if one.volume_ml < 0 else "given early",
                ""
                if math.isnan(one.hours)
                else f"{_told(one.hours):.1f} h of delivery",
            )
        )
        for drug, amount, least, most in one.drugs.drugs if one.drugs else ():
            rows.append(
                (
                    WORDS[one.kind],
                    "",
                    drug.name,
                    f"{digits(amount)} {drug.unit}",
                    f"{digits(least)} to {digits(most)} {drug.unit}",
                    "",
                    f"of {drug.amount:g} {drug.unit} charted",
                )
            )
    return Grid(
        caption="Volume and amounts by explanation, at the largest departure",
        head=(
            "if it was",
            "probability",
            "of what",
            "amount",
            "95 % interval",
            "which way",
            "that is",
        ),
        rows=rows,
        numeric=frozenset({1, 3, 4}),
    )


def _told(value: float) -> float:
    """Round as findings.csv does, so that both tell the same number."""
    return abs(round(value, VOLUME_DECIMALS))


def explanations(incident: Incident) -> Section:
    """Set out the explanations, the likeliest first, and what would confirm each.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        Those that are improbable are named in one line.
    """
    ranked = facts.explanations(incident)
    return section(
        "incident_explanations",
        reason="" if ranked else incident.known["reason"],
        ranked=[_explanation(one) for one in ranked if one.is_set_out],
        rest=", ".join(one.words for one in ranked if not one.is_set_out),
        traces=[
            f"{words.when(one.at)}: {one.said} ({one.source})"
            for one in facts.traces(incident)
        ],
        has_finding=facts.delivery_finding(incident) is not None,
    )


def _explanation(one: facts.Explanation) -> dict[str, Any]:
    return {
        "words": one.words,
        "probability": probability(one.probability),
        "ratio": "" if math.isnan(one.ratio) else f"{one.ratio:.2f}",
        "slips": [
            f"{abs(volume):.1f} mL at {words.when(at)} ({source})"
            for at, source, volume in one.slips
        ],
        "grid": Grid(
            caption=f"What may lie behind “{one.words}”; the log does not rank these",
            head=(
                "possibility",
                "on the chart",
                "in the driver's own log",
                "at the bedside, or on what was kept",
                "found",
            ),
            rows=[(p.what, p.chart, p.driver_log, p.bedside, "") for p in one.possible],
        ),
    }


def checks(incident: Incident) -> Section:
    """List checks that were late or missed, and the infusion's other findings.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        With the hours covered.
    """
    units = incident.units
    due = units[units["measure"] == "checks_on_time"]
    judged = due[due["tally"] != Tally.EXCLUDED]
    is_on_time = judged["outcome"] == CheckOutcome.ON_TIME
    off = judged[~is_on_time].sort_values("due_at", kind="stable")
    covered = units[
        (units["measure"] == "covered_time") & (units["tally"] != Tally.EXCLUDED)
    ]
    return section(
        "incident_checks",
        on_time=int(is_on_time.sum()),
        judged=len(judged),
        covered=f"{covered['numerator'].sum():.1f}",
        running=f"{covered['denominator'].sum():.1f}",
        excluded=", ".join(
            dict.fromkeys(due.loc[due["tally"] == Tally.EXCLUDED, "reason"])
        ),
        interval=_interval(incident),
        off=[
            f"{words.when(row['due_at'])}: {row['outcome']} (between "
            f"{words.sources(row)})"
            for row in report_facts.rows_of(off)
        ],
        others=_other_findings(incident),
    )


def _interval(incident: Incident) -> str:
    """Say how often its ward wants a check."""
    wards = incident.rows["ward"].head(1)
    hours = incident.policy.by_ward("check_interval_h", wards).dropna()
    return f"every {hours.iloc[0]:g} h" if len(hours) else "no rule set for its ward"


def _other_findings(incident: Incident) -> Grid | None:
    found = incident.findings
    is_own = (found["infusion_id"] == incident.infusion_id) & (
        found["group"] != FindingGroup.DELIVERY
    )
    lines = facts.line_findings(incident)
    own = found[is_own | found["finding_id"].isin(lines["finding_id"])]
    if own.empty:
        return None
    return Grid(
        caption="Other findings of this infusion, its lines and its sites",
        head=("about", "what it says", "rows"),
        rows=[
            (
                report_facts.words(row["kind"]),
                words.plain(row["sentence"]),
                words.sources(row),
            )
            for row in report_facts.rows_of(report_facts.in_order(own))
        ],
    )


def history(incident: Incident) -> Section:
    """Show the same driver, line, site and patient before and after.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        Counts by what is shared, the infusions one by one, the lines, the driver.
    """
    others = facts.others(incident)
    span = pd.Timedelta(days=facts.DAYS)
    known = incident.known
    before = _days(known["started_at"] - incident.log_start)
    after = _days(incident.log_end - known["observed_end"])
    return section(
        "incident_history",
        days=facts.DAYS,
        first=words.when(known["started_at"] - span),
        last=words.when(known["observed_end"] + span),
        before=before,
        after=after,
        is_short=min(before, after) < facts.DAYS,
        counts=_history_grid(facts.histories(incident)),
        others=_others_grid(others) if others else None,
        lines=_lines_grid(incident) if len(incident.lines) else None,
        driver=[
            words.plain(row["sentence"]) for row in incident.drivers.to_dict("records")
        ],
    )


def _days(span: Any) -> int:
    """Give whole days, none of a time that is not known, and no more than are asked."""
    if pd.isna(span):
        return 0
    return int(min(max(span / pd.Timedelta(days=1), 0), facts.DAYS))


def _history_grid(histories: tuple[facts.History, ...]) -> Grid:
    return Grid(
        caption=f"Other infusions within {facts.DAYS} days, and how many of those "
        "evaluable have a delivery finding",
        head=("same", "which", "before", "with a finding", "after", "with a finding"),
        rows=[
            (
                one.same,
                one.named or "not charted",
                str(one.before),
                f"{one.flagged_before} of {one.evaluable_before}",
                str(one.after),
                f"{one.flagged_after} of {one.evaluable_after}",
            )
            for one in histories
        ],
        numeric=frozenset({2, 3, 4, 5}),
    )


def _others_grid(others: tuple[Other, ...]) -> Grid:
    shown = others
    if len(others) > _MOST_OTHERS:
        telling = sorted(others, key=lambda one: not one.findings)[:_MOST_OTHERS]
        shown = tuple(sorted(telling, key=lambda one: one.started_at))
    more = len(others) - len(shown)
    return Grid(
        caption="Those infusions, in order of their start",
        head=("started", "infusion", "ward", "shares", "findings"),
        rows=[
            (
                words.when(one.started_at),
                one.infusion_id,
                one.ward,
                ", ".join(one.shares),
                _findings_said(one),
            )
            for one in shown
        ],
        more=f"{more:,} more, without a finding" if more else "",
    )


def _findings_said(other: Other) -> str:
    if other.findings:
        return "; ".join(_in_brief(row) for row in other.findings)
    if not other.is_evaluable:
        return "not evaluable"
    return words.EN_DASH


def _in_brief(row: Mapping[str, Any]) -> str:
    """Say a finding of another infusion in a few words, and nothing of its patient."""
    volume = words.volume(row).split(" (")[0]
    hours = words.hours(row)
    parts = [report_facts.words(row["kind"]), volume, f"about {hours}" if hours else ""]
    return ", ".join(part for part in parts if part)


def _lines_grid(incident: Incident) -> Grid:
    rows = [
        (
            str(line["kind"]).replace("_", " "),
            line["line_id"],
            line["location"],
            words.when(line["inserted_at"]),
            words.when(line["removed_at"])
            if pd.notna(line["removed_at"])
            else "in place, or not charted",
            str(line["removal_reason"]).replace("_", " "),
            line["source"],
        )
        for line in incident.lines.to_dict("records")
    ]
    return Grid(
        caption="Extension sets and cannulas in use",
        head=(
            "what",
            "id",
            "where",
            "fitted",
            "removed",
            "reason",
            "row",
        ),
        rows=rows,
    )
