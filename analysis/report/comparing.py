"""Wards and months: funnel, lines of months and hours of the day, and each in words."""

from collections.abc import Iterator

import pandas as pd

from analysis import figures
from analysis.audit import AuditResult
from analysis.compliance import Measure
from analysis.report import facts
from analysis.report.section import Section, section
from analysis.terms import ALL, Signal
from analysis.wards import DELIVERY, Funnel, checks_by_hour, funnel_of, hours_in_words
from analysis.wards.hours import MEASURE as CHECKS
from analysis.wards.hours import TOO_FEW, WORDS_H

#: Months from which a line is drawn.
_FEWEST_MONTHS = 2
#: Months up to which two lines stand side by side.
_MOST_MONTHS_BESIDE = 7

_DELIVERY_LABEL = "Infusions with a delivery finding"

_BELOW, _ABOVE = (
    {"side": "below", "limit": "lower"},
    {"side": "above", "limit": "upper"},
)

_IN_WORDS = {
    str(Signal.SHIFT): "a long run {side} the centre,",
    str(Signal.OUTSIDE): "{side} the {limit} limit in",
    str(Signal.FEW_CROSSINGS): "few crossings of the centre up to",
}


def wards_and_months(result: AuditResult) -> Section:
    """Show wards side by side and months in a row, as far as chance allows.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        Funnels from ten wards, lines from two months, and the hours of the day at which
        checks were late or missed.
    """
    leading = [m for m in result.declared if m.name in facts.LEADING]
    shown = [m for m in leading if m.name not in result.not_in_export]
    funnels = [
        (measure, funnel)
        for measure in shown
        if (funnel := funnel_of(result.comparisons, measure, result.month))
    ]
    return section(
        "comparing",
        month=f"{pd.Timestamp(result.month + '-01'):%B %Y}",
        wards=len(facts.wards(result)),
        funnels=[_funnel_view(*pair) for pair in funnels],
        lines=list(_line_views(result, shown)),
        signals=_signals(result),
        judged=_judged_lines(result),
        hours=_hours_view(result),
    )


def _funnel_view(measure: Measure, funnel: Funnel) -> dict[str, object]:
    with figures.house_style():
        drawn = figures.figure(7.2, figures.funnel_height(len(funnel.wards)))
        figures.ward_funnel(funnel, measure.label, ax=drawn.subplots())
        source = figures.svg_source(drawn)
    different = funnel.wards.loc[funnel.wards["different"] == "yes", "ward"]
    return {
        "label": measure.label,
        "source": source,
        "alt": figures.funnel_alt(funnel, measure.label),
        "different": list(different),
        "is_widened": funnel.is_widened,
    }


def _line_views(
    result: AuditResult, shown: list[Measure]
) -> Iterator[dict[str, object]]:
    """Draw the lines of all wards together: leading measures, and delivery findings."""
    labels = {m.name: m.label for m in shown}
    labels[DELIVERY] = _DELIVERY_LABEL
    every = result.trends[result.trends["ward"] == ALL].sort_values("month")
    lines = [
        (label, own)
        for name, label in labels.items()
        if (own := every[every["measure"] == name])["proportion"].notna().sum()
        >= _FEWEST_MONTHS
    ]
    months = every["month"].nunique()
    beside = 2 if months <= _MOST_MONTHS_BESIDE else 1
    for at in range(0, len(lines), beside):
        some = lines[at : at + beside]
        with figures.house_style():
            drawn = figures.figure(7.2, 1.9)
            axes = drawn.subplots(1, beside, squeeze=False)[0]
            for ax, (label, own) in zip(axes, some, strict=False):
                figures.month_line(own, label, ax=ax)
            for ax in axes[len(some) :]:
                ax.set_axis_off()
            source = figures.svg_source(drawn)
        said = " ".join(figures.month_alt(own, label) for label, own in some)
        yield {"source": source, "alt": said}


def _judged_lines(result: AuditResult) -> int:
    """Count the lines of months that the rules were applied to."""
    judged = result.trends[result.trends["centre"].notna()]
    return len(judged[["measure", "ward"]].drop_duplicates())


def _signals(result: AuditResult) -> list[tuple[str, str]]:
    """Say of each ward where its lines of months show more than chance would bring."""
    labels = {m.name: m.label for m in result.declared}
    labels[DELIVERY] = _DELIVERY_LABEL
    order = {name: place for place, name in enumerate(labels)}
    told: dict[str, list[tuple[int, str]]] = {}
    lines = result.trends[result.trends["proportion"].notna()]
    for (measure, ward), own in lines.groupby(["measure", "ward"], sort=True):
        if said := _line_in_words(own.sort_values("month")):
            label = labels.get(
                str(measure), str(measure).replace("_", " ").capitalize()
            )
            place = order.get(str(measure), len(order))
            told.setdefault(str(ward), []).append((place, f"{label}: {said}"))
    wards = [ward for ward in [ALL, *facts.wards(result)] if ward in told]
    return [
        (
            "All wards" if ward == ALL else ward,
            ". ".join(said for _, said in sorted(told[ward])) + ".",
        )
        for ward in wards
    ]


def _line_in_words(own: pd.DataFrame) -> str:
    """Say what one line shows; months in a row are one stretch, also across a gap."""
    is_above = own["proportion"] > own["centre"]
    said = []
    for signal, words in _IN_WORDS.items():
        is_so = own["signal"].fillna("").str.contains(signal, regex=False)
        change = (is_so != is_so.shift()) | (is_above != is_above.shift())
        for is_up in (False, True):
            chosen = own[is_so & (is_above == is_up)]
            by = chosen["month"].groupby(change.cumsum())
            if spans := [_span(list(part)) for _, part in by]:
                side = _ABOVE if is_up else _BELOW
                said.append(f"{words.format(**side)} {', '.join(spans)}")
    return "; ".join(said)


def _span(months: list[str]) -> str:
    return months[0] if len(months) == 1 else f"{months[0]} to {months[-1]}"


def _hours_view(result: AuditResult) -> dict[str, object]:
    """Show at which hours checks were late or missed: a picture, and every ward."""
    units = result.unit_tables.of(CHECKS)
    picture = checks_by_hour(units, result.policy, month=result.month)
    words = checks_by_hour(units, result.policy, month=result.month, width_h=WORDS_H)
    told = {
        str(ward): hours_in_words(rows)
        for ward, rows in words.groupby("ward", sort=False)
    }
    said = [("All wards", told.pop(ALL, hours_in_words(words[:0])))]
    said += [(ward, text) for ward, text in told.items() if text != TOO_FEW]
    few = [ward for ward, text in told.items() if text == TOO_FEW]
    said += [(", ".join(few), TOO_FEW)] if few else []
    every = picture[picture["ward"] == ALL]
    if not len(every) or not every["is_shown"].astype(bool).any():
        return {"source": "", "alt": "", "said": said}
    title = "Checks late and missed, all wards"
    with figures.house_style():
        drawn = figures.figure(7.2, 2.2)
        figures.hour_bars(every, title, ax=drawn.subplots())
        source = figures.svg_source(drawn)
    return {"source": source, "alt": figures.hour_alt(every, title), "said": said}
