"""Names and codes in one spelling: what is alike to the eye is one, the rest is told.

An accent may be stored as one character or as two, and blanks may be doubled: nobody
sees a difference, and there is none. Small and large letters can be seen, and two codes
may differ by them alone; so they stay apart, and a sentence names both.
"""

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.texts import spread

#: Columns by which rows are brought together.
_NAMING = ("ward", "patient_id", "driver_id", "infusion_id")

#: Columns of names and codes.
NAMES = frozenset({*_NAMING, "line_id", "site_id"})
_BLANKS = r"[\s\x{a0}\x{2000}-\x{200a}\x{202f}\x{205f}\x{3000}]+"
_ODD = r"[^\x21-\x7e]"
_MARKS = r"[\x{200b}-\x{200f}\x{202a}-\x{202e}\x{2060}-\x{2069}\x{feff}\x{ad}\x{61c}]"


def one_spelling(cells: pd.Series) -> pd.Series:
    r"""Give names with accents stored in one way, single blanks and nothing invisible.

    Parameters
    ----------
    cells : Series of str, shape (n,)
        Names or codes; none is missing: an empty text is.

    Returns
    -------
    Series of str, shape (n,)
        On the index of `cells`. Small and large letters are as they were.

    Examples
    --------
    >>> one_spelling(pd.Series(["Ward  4", "Cafe\u0301"])).tolist()
    ['Ward 4', 'Caf\xe9']
    """
    codes, names = pd.factorize(cells, use_na_sentinel=False)
    known = text = pa.array(names, type=pa.large_string())
    if not pc.any(pc.match_substring_regex(text, _ODD), min_count=0).as_py():
        return cells
    if not pc.all(pc.string_is_ascii(text), min_count=0).as_py():
        text = pc.utf8_normalize(pc.replace_substring_regex(text, _MARKS, ""), "NFC")
    text = pc.utf8_trim_whitespace(pc.replace_substring_regex(text, _BLANKS, " "))
    if text.equals(known):
        return cells  # nothing to mend, and no second copy to keep
    mended = pd.Series(text.to_pandas(), dtype="str")
    return pd.Series(spread(mended, codes), index=cells.index)


def _folded(names: pd.Series) -> pd.Series:
    text = pa.array(names, type=pa.large_string())
    if pc.all(pc.string_is_ascii(text), min_count=0).as_py():
        return pd.Series(pc.ascii_lower(text).to_pandas(), dtype="str")
    return names.map(str.casefold).astype("str")


def spellings(rows: pd.DataFrame) -> list[str]:
    """Say which names differ by small and large letters alone.

    Parameters
    ----------
    rows : DataFrame
        Rows of the check log.

    Returns
    -------
    list of str
        A sentence for each column that has such names.
    """
    told = []
    for name in (n for n in _NAMING if n in rows):
        known = pd.Series(rows[name].unique(), dtype="str")
        folded = _folded(known)
        is_alike = folded.duplicated(keep=False)
        if not is_alike.any():
            continue
        known = known[is_alike].sort_values()
        several = known.groupby(folded[is_alike]).agg(list)
        ways = " and ".join(f"'{way}'" for way in several.iloc[0])
        more = f", and {len(several) - 1} more" if len(several) > 1 else ""
        told.append(
            f"{name} is written {ways}{more}: they differ by small and large letters "
            "alone and are kept apart; if they are one, write them alike and run again."
        )
    return told
