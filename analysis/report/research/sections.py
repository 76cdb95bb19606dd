"""Sections of a study's page: facts in, HTML out; each is one call of the notebook."""

import math
from pathlib import Path
from typing import Any, Final

import pandas as pd

from analysis.report.cells import texts
from analysis.report.facts import rows_of
from analysis.report.grid import Grid
from analysis.report.manifest import STUDY, read_manifest, versions
from analysis.report.research.account import flow
from analysis.report.research.answer import PER, heading, in_short, next_steps
from analysis.report.research.demo import demo_study
from analysis.report.research.lasting import association, lasting, time_to_reaction
from analysis.report.research.publish import read_study
from analysis.report.research.words import linkage_words, rate_words
from analysis.report.section import Section, section
from analysis.research import Study
from analysis.research.extract import STANDING
from analysis.research.linkage import Linkage
from analysis.sites.definition import POLICY
from analysis.terms import ALL, RateInterval

__all__ = [
    "association",
    "cautions",
    "defined",
    "extract",
    "flow",
    "heading",
    "in_short",
    "lasting",
    "load",
    "made_with",
    "next_steps",
    "policy_in_force",
    "rates",
    "time_to_reaction",
]

Blocks = list[tuple[str, Any]]

CAUTIONS: Final = (
    "A retrospective study of recorded values: not for live monitoring, dosing or "
    "alarms. Local policy and licensed staff decide.",
    "A reaction is what was charted. Rates depend on how often and how well sites are "
    "looked at: a ward that looks more closely shows more. A site charted as inspected "
    "is no proof that it was.",
    "Published rates differ about a hundredfold with definition, drugs and cannula; "
    "there is no expected rate to compare with, and none is printed.",
    "An association is no cause: drugs come in mixtures, sicker patients are treated "
    "differently, and places on the body are chosen for a reason.",
    "Limits by patient know that sites of one patient are alike; exact limits, limits "
    "of curves and log-rank tests do not, and are too narrow where few patients have "
    "many sites.",
    "Many things are looked at at once. About one interval in twenty leaves out 1 by "
    "chance alone.",
    "A removal that is charted for no reaction may have been for one; what ends the "
    "watching may go with the risk. Curves take it that it does not.",
)


def load(folder: str) -> Study:
    """Give the study to be shown.

    Parameters
    ----------
    folder : str
        Folder of a study; empty for the demo log, which is studied then.

    Returns
    -------
    Study
        As published, or made now.
    """
    return read_study(folder) if folder else demo_study()


def defined(study: Study) -> Section:
    """Say what counts as a reaction, and how the rate depends on it.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    Section
        Definitions side by side, for all wards and each.
    """
    if study.absent:
        return section("blocks", blocks=[("text", f"No rate is given. {study.absent}")])
    rates = study.rates[study.rates["period"] == ALL]
    wards = [ALL, *sorted(set(texts(rates["ward"])) - {ALL})]
    by = {(row["definition"], row["ward"]): row for row in rows_of(rates)}
    rows = []
    for each in rows_of(study.definitions):
        own = by[each["definition"], ALL]
        rows.append(
            (
                each["definition"],
                each["words"],
                f"{each['at_risk']:,}",
                f"{each['prevalent']:,}",
                f"{each['not_judged']:,}",
                f"{own['events']:,}",
                f"{own['exposure_days']:,.0f}",
                rate_words(own),
            )
        )
    whole = Grid(
        caption="All wards, whole log, by seven definitions",
        head=(
            "definition",
            "what counts",
            "at risk",
            "prevalent",
            "left out otherwise",
            "reactions",
            "site-days",
            "per 1,000 (95\N{NO-BREAK SPACE}%)",
        ),
        rows=rows,
        numeric=frozenset({2, 3, 4, 5, 6, 7}),
    )
    names = texts(study.definitions["definition"])
    beside = Grid(
        caption=f"The same by ward: {PER}",
        head=("ward", *names),
        rows=[
            (
                "all wards" if ward == ALL else ward,
                *(
                    rate_words(by[n, ward]).replace(" (", "\n(")
                    if (n, ward) in by
                    else "nobody\nat risk"
                    for n in names
                ),
            )
            for ward in [*wards[1:], ALL]
        ],
        numeric=frozenset(range(1, len(names) + 1)),
        last_is_total=True,
    )
    words = texts(study.definitions["words"])[0].removeprefix("the policy's: ")
    return section(
        "blocks",
        blocks=[
            (
                "text",
                f"In this study, by the policy, a reaction is {words}. Not recorded is "
                "not none.",
            ),
            (
                "text",
                "The earliest one counts, once a site. Exposure begins at the "
                "placement (for a site placed before the log began, at its first row) "
                "and ends at the check that saw the reaction, at the removal, or at "
                "the last row. A site that shows one when first seen is prevalent, and "
                "left out by name.",
            ),
            ("grid", whole),
            ("grid", beside),
        ],
    )


def rates(study: Study) -> Section:
    """Show rates by ward and by month, with both kinds of limits.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    Section
        By the policy's definition.
    """
    if study.absent:
        return section("blocks", blocks=[("text", f"No rate is given. {study.absent}")])
    own = study.rates[study.rates["definition"] == POLICY]
    by_ward = own[own["period"] == ALL]
    by_month = own[(own["ward"] == ALL) & (own["period"] != ALL)]
    is_all = by_ward["ward"] == ALL
    by_ward = pd.concat([by_ward[~is_all], by_ward[is_all]])
    return section(
        "blocks",
        blocks=[
            (
                "text",
                "Exact limits take sites as independent. From five reactions and ten "
                "patients on, limits that know that sites of one patient are alike "
                "lead; with fewer, or where patients do not differ at all, the exact "
                "ones do. Wards are in the order of their names and are not ranked; "
                "small numbers make extreme rates.",
            ),
            ("grid", _rate_grid(by_ward, "ward", "By ward, whole log")),
            ("grid", _rate_grid(by_month, "period", "By month, all wards")),
        ],
    )


def _rate_grid(table: pd.DataFrame, first: str, caption: str) -> Grid:
    return Grid(
        caption=caption,
        head=(
            "ward" if first == "ward" else "month",
            "reactions",
            "site-days",
            "patients",
            "per 1,000 site-days",
            "exact 95 %",
            "by patient 95 %",
            "leads",
        ),
        rows=[
            (
                "all wards" if row[first] == ALL else str(row[first]),
                f"{row['events']:,}",
                f"{row['exposure_days']:,.1f}",
                f"{row['patients']:,}",
                ""
                if math.isnan(row["rate_per_1000"])
                else f"{row['rate_per_1000']:.0f}",
                _limits(row["exact_low"], row["exact_high"]),
                _limits(row["clustered_low"], row["clustered_high"]),
                "by patient" if row["interval"] != RateInterval.EXACT else "exact",
            )
            for row in rows_of(table)
        ],
        numeric=frozenset({1, 2, 3, 4, 5, 6}),
        last_is_total=first == "ward",
    )


def _whole(value: float) -> str:
    return "" if math.isnan(value) else f"{value:.0f}"


def _limits(low: float, high: float) -> str:
    return "" if math.isnan(low) else f"{low:.0f} to {high:.0f}"


def extract(folder: str) -> Section:
    """Say what the extract is, and what must be done before it leaves.

    Parameters
    ----------
    folder : str
        Folder of the study; empty where it was made in memory.

    Returns
    -------
    Section
        Words for whoever hands it over.
    """
    run = read_manifest(folder, STUDY) if folder else {}
    least = run.get("extract_least")
    if least is None:
        said = (
            "There is no extract: the log has fewer patients than a combination of "
            "words must have."
            if folder
            else "The demo log is studied in memory, and no extract is written."
        )
        return section("blocks", blocks=[("text", said)])
    linked, days = Linkage(**run["linkage"]), run["whole_days"]
    return section(
        "blocks",
        blocks=[
            ("text", f"The folder extract/ is {STANDING}."),
            (
                "list",
                [
                    "sites.csv has a row a site, periods.csv a row a syringe of a site "
                    "at risk; datapackage.json is their dictionary (Table Schema).",
                    "Patients and sites stand under a keyed hash. The key is a file of "
                    "its owner outside this folder: with it pseudonyms can be traced "
                    "back, so it is never handed over. One key gives one person the "
                    "same pseudonym in every month and study: give each study a key "
                    "of its own (--secret), and take it again only where extracts are "
                    "meant to be joined.",
                    "Times are hours since the placement. There are no dates, no free "
                    "text, no staff codes and no driver numbers.",
                    "Ward, location and drugs are written as other until every "
                    f"combination has at least {least} patients, the ward first and "
                    "the drugs last; material and diluent likewise.",
                ],
            ),
            ("head", "How far it keeps patients apart"),
            ("list", linkage_words(linked, least, whole_days=days)),
        ],
    )


def policy_in_force(study: Study) -> Section:
    """Print every limit in force and who set it.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    Section
        The policy's entries.
    """
    entries = study.policy.entries()
    columns = [texts(entries[name]) for name in ("ward", "limit", "value", "set_by")]
    grid = Grid(
        caption=f"Policy in force: {study.policy.name} ({study.policy.path})",
        head=("where", "limit", "value", "set by"),
        rows=list(zip(*columns, strict=True)),
    )
    return section("plain", grid=grid, items=())


def cautions() -> Section:
    """Print what a reader must keep in mind.

    Returns
    -------
    Section
        A numbered list.
    """
    return section("plain", grid=None, items=CAUTIONS)


def made_with(folder: str) -> Section:
    """Print what the study was made with.

    Parameters
    ----------
    folder : str
        Folder of the study; empty where it was made in memory.

    Returns
    -------
    Section
        Versions; the time of running stands in ``run.json`` alone.
    """
    found = read_manifest(Path(folder), STUDY)["versions"] if folder else versions()
    grid = Grid(caption="Made with", head=("what", "version"), rows=list(found.items()))
    return section("plain", grid=grid, items=())
