"""A layout: how the tables of one site's export map to the canonical tables.

A layout is TOML, one ``[[table]]`` a kind of file or sheet. A table is told by the
headers that its layout names, never by its file name, so that next month's export needs
no new layout. A ``"?"`` is a question that was not yet answered.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from analysis.columns import CHECKS, INFUSIONS, LINES
from analysis.intake import synonyms
from analysis.terms import SiteSign

#: What stands where a person has to decide.
OPEN = "?"


class Holds(StrEnum):
    """What a row of a table is."""

    CHECKS = "checks"
    INFUSIONS = "infusions"
    LINES = "lines"
    ITEMS = "items"
    LINE_CHANGES = "line_changes"


_INFUSION_ONLY = tuple(n for n in INFUSIONS.names if n not in CHECKS.names)
_EXTRA = (synonyms.ROW_ID, synonyms.REPLACES, synonyms.STRUCK, synonyms.VERSION)
_CHANGES = (synonyms.LINE_CHANGED_ON, synonyms.SITE_CHANGED_ON, synonyms.WHY_CHANGED)
_LONG = (synonyms.ITEM, synonyms.VALUE, synonyms.UNITS)

#: Columns that a table of each kind may name.
ALLOWED: dict[Holds, frozenset[str]] = {
    Holds.CHECKS: frozenset(
        (*CHECKS.names, *_INFUSION_ONLY, *_EXTRA, *_CHANGES[:2], "units")
    ),
    Holds.INFUSIONS: frozenset((*INFUSIONS.names, *_EXTRA)),
    Holds.LINES: frozenset((*LINES.names, *_EXTRA)),
    Holds.ITEMS: frozenset((*CHECKS.names, *_INFUSION_ONLY, *_EXTRA, *_LONG)),
    Holds.LINE_CHANGES: frozenset(
        ("patient_id", "ward", "driver_id", "location", *_CHANGES, *_EXTRA)
    ),
}

#: Signs of a site that can be seen.
SIGNS = tuple(str(sign) for sign in SiteSign if sign is not SiteSign.NONE)


@dataclass(frozen=True, slots=True, kw_only=True)
class TableLayout:
    """One kind of table of an export.

    Attributes
    ----------
    holds : Holds
        What a row is.
    columns : mapping of str to tuple of str
        Column to the headers it is read from: two for a date and a time apart, several
        for an id that is made of parts.
    date_order, clock, decimal : str
        ``dmy``, ``mdy`` or ``ymd``; ``24`` or ``12``; ``.`` or ``,``. Empty: no cell
        needs it.
    not_recorded : tuple of str
        Words for "not recorded" beside the usual ones.
    fill_down : tuple of str
        Headers whose blanks repeat the value above, outermost first.
    ditto : tuple of str
        Headers under which a ditto mark repeats the value above.
    not_rows : tuple of str
        First words of rows that are none: totals.
    digits : mapping of str to int (or the open question)
        Column of whole numbers to the digits it is written with: zeros were lost.
    units : mapping of str to str
        Column to its unit: a rate per hour or per 24 h, a battery in % or parts of 1.
    constants : mapping of str to str
        Column to the one value that holds for the whole table.
    contents_of : tuple of tuple of str
        Headers of drug, dose and unit, one group a drug.
    signs_of : mapping of str to tuple of str
        Sign of a site to the headers that say yes or no to it.
    items : mapping of str to tuple of str
        Column, or sign of a site, to the item names whose values it takes, in a table
        of items.
    words : mapping of str to mapping
        Column to the site's own words and what they mean; empty means not recorded.
    encoding, delimiter, quote : str
        How the file is written; empty: as found.
    """

    holds: Holds
    columns: Mapping[str, tuple[str, ...]]
    date_order: str = ""
    clock: str = ""
    decimal: str = ""
    not_recorded: tuple[str, ...] = ()
    fill_down: tuple[str, ...] = ()
    ditto: tuple[str, ...] = ()
    not_rows: tuple[str, ...] = ()
    digits: Mapping[str, int | str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    contents_of: tuple[tuple[str, ...], ...] = ()
    signs_of: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    items: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    encoding: str = ""
    delimiter: str = ""
    quote: str = ""

    def named(self) -> list[tuple[str, str]]:
        """Give every header the layout names, with the key it stands under.

        Returns
        -------
        list of (str, str)
            Key and header.
        """
        found = [(f"columns.{c}", h) for c, hs in self.columns.items() for h in hs]
        found += [("contents_of", h) for hs in self.contents_of for h in hs]
        return found + [
            (f"signs_of.{sign}", h) for sign, hs in self.signs_of.items() for h in hs
        ]

    def headers(self) -> frozenset[str]:
        """Give every header the layout names, in the form that is compared.

        Returns
        -------
        frozenset of str
            Without what is still to be decided.
        """
        return frozenset(synonyms.normal(h) for _, h in self.named() if h != OPEN)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """A whole layout: its tables and, where it says so, the time zone.

    Attributes
    ----------
    tables : tuple of TableLayout
        One a kind of table.
    zone : str
        IANA name of the zone of local times; empty: the policy's.
    skip_sheets : tuple of str
        Names of sheets that hold nothing of the log.
    """

    tables: tuple[TableLayout, ...]
    zone: str = ""
    skip_sheets: tuple[str, ...] = ()

    def of(self, headers: Iterable[str]) -> TableLayout | None:
        """Give the table whose headers are all among `headers`; the fullest of them.

        Parameters
        ----------
        headers : iterable of str
            Headers of a file.

        Returns
        -------
        TableLayout or None
            None where no table fits.
        """
        there = {synonyms.normal(h) for h in headers}
        fitting = [t for t in self.tables if t.headers() and t.headers() <= there]
        return max(fitting, key=lambda t: len(t.headers()), default=None)

    def nearest(self, headers: Iterable[str]) -> list[str]:
        """Give what the most similar table names and `headers` lack, with its key.

        Parameters
        ----------
        headers : iterable of str
            Headers of a file.

        Returns
        -------
        list of str
            In words.
        """
        there = {synonyms.normal(h) for h in headers}
        lacking = [
            [
                f"'{h}' ({key})"
                for key, h in t.named()
                if synonyms.normal(h) not in there
            ]
            for t in self.tables
        ]
        return min(lacking, key=len, default=[])
