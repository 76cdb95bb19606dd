"""Words of charts that may leave in an extract: those of the trade, and no others.

A cell of a chart is free text, and may name a colleague or a day. What is made up of
words of the trade alone cannot (common practice, no source; add the words that your
charts use). Anything else is written as `OTHER`.
"""

import re
from typing import Final

import pandas as pd

from analysis.lookup import each_once
from analysis.research.coarsen import OTHER
from analysis.research.risk import NOT_READABLE, NOT_RECORDED


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_MATERIALS: Final = _words(
    "metal steel stainless needle plastic polyurethane polyethylene polyamide silicone "
    "fluoropolymer ptfe fep pu pur soft flexible rigid winged butterfly infusion set "
    "cannula catheter subcutaneous sc"
)

#: Strengths with their sign alone: 5/10 would be a day.
_DILUENTS: Final = _words(
    "water for injection injections wfi sterile sodium chloride nacl saline normal "
    "half isotonic glucose dextrose solution none neat undiluted and in with w/v "
    "0.9 0.9% 0.45 0.45% 5% 10%"
)

#: What may stand beside the one word that a drug is called by.
_SALTS: Final = _words(
    "acetate acid besilate bromide butylbromide chloride citrate fumarate hcl "
    "hydrobromide hydrochloride lactate maleate mesilate nitrate phosphate sodium "
    "succinate sulfate sulphate tartrate trometamol"
)

_TITLES: Final = _words(
    "dr doctor mr mrs ms miss mx prof professor sr sister nurse matron staff sn rn rgn "
    "hca signed by per"
)

#: Letters, and at most two digits, such as of a vitamin: no year and no day of one.
_WORD: Final = re.compile(r"(?=.*[^\W\d_])(?:[^\W\d_]|-){0,30}\d{0,2}")

_MOST_WORDS: Final = 8


def trade_material(cells: pd.Series) -> pd.Series:
    """Keep what cannulas are made of, as far as words of the trade say it.

    Parameters
    ----------
    cells : Series of str, shape (n,)
        As charted.

    Returns
    -------
    Series of str, shape (n,)
        In small letters; `OTHER` for anything else. Not recorded stays.
    """
    return each_once(cells, lambda cell: _plain(cell, _MATERIALS))


def trade_diluent(cells: pd.Series) -> pd.Series:
    """Keep what syringes are made up with, as far as words of the trade say it.

    Parameters
    ----------
    cells : Series of str, shape (n,)
        As charted.

    Returns
    -------
    Series of str, shape (n,)
        In small letters; `OTHER` for anything else. Not recorded stays.
    """
    return each_once(cells, lambda cell: _plain(cell, _DILUENTS))


def _plain(cell: str, allowed: frozenset[str]) -> str:
    text = " ".join(cell.lower().split())
    if text in ("", NOT_RECORDED, NOT_READABLE):
        return text
    # A comma between digits is a decimal point; marks between words are none of theirs.
    words = re.sub(r"(?<=\d),(?=\d)", ".", text).replace(" %", "%")
    parts = re.sub(r"[(),;/-]+(?!v\b)", " ", words).split()
    is_plain = 0 < len(parts) <= _MOST_WORDS and allowed.issuperset(parts)
    return text if is_plain else OTHER


def trade_drug(name: str) -> str:
    """Keep the name of a drug where it looks like one, and like nobody's.

    Parameters
    ----------
    name : str
        As charted, without its amount.

    Returns
    -------
    str
        In small letters: one word, or one and its salt. `OTHER` for anything else: a
        title, digits that may be of a date, any second word.

    Examples
    --------
    >>> trade_drug("Morphine sulfate"), trade_drug("Dr Jones morphine")
    ('morphine sulfate', 'other')
    """
    words = name.lower().split()
    if not words or len(words) > 2 or _TITLES & {word.strip(".") for word in words}:
        return OTHER
    if len(words) == 2 and not _SALTS & set(words):
        return OTHER
    return " ".join(words) if all(map(_WORD.fullmatch, words)) else OTHER
