"""The first screen of a study: what was found, and what to do with it."""

from typing import Any, Final

import pandas as pd

from analysis.report.facts import rows_of
from analysis.report.manifest import STUDY, read_manifest
from analysis.report.research.words import (
    counted,
    days_words,
    main_rate,
    number_words,
    outside_one,
    rate_words,
    ratio_words,
    sites_words,
    span_words,
)
from analysis.report.section import Section, section
from analysis.research import Study
from analysis.research.linkage import Linkage
from analysis.sites.definition import definition_of
from analysis.terms import ALL, RateInterval

Blocks = list[tuple[str, Any]]

#: What a rate counts, in words.
PER: Final = "reactions per 1,000 site-days (95 % interval)"

_EXPORT_AGAIN: Final = (
    "Export the check log again with what was seen of the sites (site_signs) and, "
    "where there is one, a table of lines with the reasons of removal."
)

_SAY_WHAT_COUNTS: Final = (
    "Say in the policy what a reaction is (reaction_signs, minor_signs, "
    "reaction_removal_reasons), and make the study again."
)


def heading(study: Study) -> Section:
    """Name the study, its log and its policy.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    Section
        Title, and a note where the policy is the shipped example.
    """
    start, end = (f"{t.day} {t:%B %Y}" for t in (study.log_start, study.log_end))
    blocks: Blocks = [
        ("title", "Site reactions: a study"),
        (
            "under",
            f"Log from {start} to {end} ({study.policy.time_zone}). "
            f"{sites_words(study)}. Policy: {study.policy.name}.",
        ),
    ]
    if study.policy.is_example:
        blocks.append(
            (
                "banner",
                "Example policy. What counts as a reaction here is the shipped "
                f"example's definition{_copied(study)}, not your service's. Local "
                "policy decides.",
            )
        )
    return section("blocks", blocks=blocks)


def _copied(study: Study) -> str:
    policy = study.policy
    if not policy.is_unedited_copy:
        return ""
    return f" ({policy.path} is an unedited copy of it)"


def in_short(study: Study) -> Section:
    """Say what was found, in a few lines.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    Section
        Rate, median and associations; or why there is no rate.
    """
    if study.absent:
        said = ("banner", f"No rate is given. {study.absent}")
        return section("blocks", blocks=[said])
    found = [_rate_said(study)]
    if float(main_rate(study)["exposure_days"]) > 0:
        found += [_median_said(study), *_ratios(study)]
    return section("blocks", blocks=[("list", found)])


def next_steps(study: Study, folder: str) -> Section:
    """Say what a researcher does next.

    Parameters
    ----------
    study : Study
        The study.
    folder : str
        Folder of the study; empty where it was made in memory.

    Returns
    -------
    Section
        A numbered list.
    """
    if study.absent:
        is_empty = definition_of(study.policy).is_empty
        said = _SAY_WHAT_COUNTS if is_empty else _EXPORT_AGAIN
        return section("blocks", blocks=[("steps", [said])])
    steps = [
        _of_definition(study),
        _of_sites(study),
        _of_extract(folder),
        _of_associations(study),
    ]
    return section("blocks", blocks=[("steps", [said for said in steps if said])])


def _of_definition(study: Study) -> str:
    found = study.rates
    whole = found[(found["ward"] == ALL) & (found["period"] == ALL)]
    rates = whole["rate_per_1000"].dropna()
    said = "Settle the definition of a reaction before a rate is quoted, and quote it"
    low, high = (f"{rate:.0f}" for rate in (rates.min(), rates.max()))
    if rates.empty or low == high:
        return f"{said} beside the rate."
    return (
        f"{said} beside the rate: by the {number_words(len(rates))} of this study that "
        f"give one it is {low} to {high} per 1,000 site-days."
    )


def _of_sites(study: Study) -> str:
    """Say how many sites there are, are in rates, and are in curves."""
    sites = study.flow[study.flow["unit"] == "sites"]
    last = sites.groupby("step", sort=False)["kept"].last().tolist()
    said = counted(study.sites, "site")
    if len(last) == 2:
        said += f", {last[0]:,} of them in rates and {last[1]:,} in curves"
    return f"Read what was left out, derived and assumed: {said}."


def _of_extract(folder: str) -> str:
    run = read_manifest(folder, STUDY) if folder else {}
    if run.get("extract_least") is None:
        return ""
    found = Linkage(**run["linkage"])
    return (
        "Ask for your service's approval before the folder extract/ leaves it: whoever "
        f"holds the charts can find {found.alone_by_rows:,} of its "
        f"{counted(found.patients, 'patient')}. The key of its pseudonyms stays."
    )


def _of_associations(study: Study) -> str:
    outside, looked_at = outside_one(study)
    if outside:
        return "Take an association as a question, for a study planned to answer it."
    return "" if looked_at else "Ask about associations of a log with more reactions."


def _rate_said(study: Study) -> str:
    rate = main_rate(study)
    if not float(rate["exposure_days"]) > 0:
        return "No site was at risk, so there is no rate."
    said = (
        f"{counted(rate['events'], 'first reaction')} in "
        f"{rate['exposure_days']:,.1f} site-days at risk: {rate_words(rate)} {PER}"
    )
    if rate["interval"] == RateInterval.EXACT:
        return said + ", by exact limits that take sites as independent."
    return said + ", by limits that know that sites of one patient are alike."


def _median_said(study: Study) -> str:
    found = study.durations
    rows = rows_of(found[(found["group"] == ALL) & (found["until"] == "removal")])
    if not rows or not rows[0]["events"]:
        return "No site was removed while treatment went on: no median time in place."
    row = rows[0]
    if pd.isna(row["median_days"]):
        return (
            f"{row['events']} of {row['sites']} sites were removed while treatment "
            f"went on: no median time in place ({row['note']})."
        )
    limits = span_words(row["low_days"], row["high_days"])
    between = f"95 % interval {limits}" if limits else "without limits"
    return (
        f"Half of the sites were in place for {days_words(row['median_days'])} days or "
        f"longer ({between}), sites still in place counted as such."
    )


def _ratios(study: Study) -> list[str]:
    outside, looked_at = outside_one(study)
    if not looked_at:
        return ["Too few reactions to say what they are associated with."]
    steady = [row for row in outside if not _is_unsteady(row)]
    said = [
        f"{_named(row)} is associated with "
        f"{'more' if row['ratio'] > 1 else 'fewer'} reactions than {row['reference']}: "
        f"rate ratio {ratio_words(row['ratio'], row['low'], row['high'])}."
        for row in steady
    ]
    unsteady = len(outside) - len(steady)
    by_chance = looked_at / 20
    told = f"{by_chance:.0f}" if by_chance >= 1 else "fewer than 1"
    beside = f" ({unsteady} of them unsteady, not named here)" if unsteady else ""
    return [
        *said,
        f"Ratios with an interval that leaves out 1: {len(outside)} of {looked_at}"
        f"{beside}; chance alone would bring {told}. An association is no cause.",
    ]


def _is_unsteady(row: dict[str, Any]) -> bool:
    return bool(pd.notna(row["note"]) and row["note"])


def _named(row: dict[str, Any]) -> str:
    return f"{row['factor'][:1].upper()}{row['factor'][1:]}, {row['level']},"
