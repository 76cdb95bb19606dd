"""A delimiter left without quotes in every row, told from one at the end of each line.

Either way every row has a cell more than the header, and the last one is blank. Where
the cells fit their headers once two neighbours are put together, and do not as they
stand, a decimal comma has parted them.
"""

import pandas as pd

from analysis.intake import synonyms
from analysis.intake.fitting import fits
from analysis.intake.profiles import profile
from analysis.intake.raw import RawTable

_NUMBERS = frozenset(
    {"set_rate_ml_h", "volume_remaining_ml", "volume_delivered_ml", "start_volume_ml",
     "display_remaining_ml", "made_up_to_ml"}
)  # fmt: skip
_LOOKED_AT = 200


def pushed_out(raw: RawTable) -> str:
    """Say that a number was parted in two by its own comma in every row.

    Parameters
    ----------
    raw : RawTable
        A file.

    Returns
    -------
    str
        A sentence; empty where rows are no wider than the header, or their cells fit
        as they stand.
    """
    if not raw.is_wide or raw.dialect.delimiter != ",":
        return ""
    head = raw.cells.iloc[:_LOOKED_AT]
    as_read = _fitting(head)
    for place, header in enumerate(head.columns[:-1]):
        both = head.iloc[:, [place, place + 1]]
        is_whole = both.apply(lambda cells: cells.str.fullmatch(r"\d{1,3}"))
        if not synonyms.named(str(header)) & _NUMBERS or not is_whole.to_numpy().all():
            continue
        if _fitting(_together(head, place)) > as_read:
            first, second = both.iloc[0]
            return (
                f"every row has a cell more than the header, and {first} and {second} "
                f"under {header} and {head.columns[place + 1]} are {first},{second} "
                "parted by its comma: export it with semicolons or with quotes, or "
                "with a decimal point; where they are two cells, and each line only "
                "ends in a comma, put one at the end of the header too"
            )
    return ""


def _together(cells: pd.DataFrame, place: int) -> pd.DataFrame:
    """Put a cell and the next one together; the cells behind them move to the left."""
    columns = [cells.iloc[:, i] for i in range(len(cells.columns))]
    whole = columns[place] + "," + columns[place + 1]
    blank = pd.Series("", index=cells.index, dtype="str")
    moved = [*columns[:place], whole, *columns[place + 2 :], blank]
    return pd.DataFrame(dict(zip(cells.columns, moved, strict=True)), dtype="str")


def _fitting(cells: pd.DataFrame) -> int:
    """Count the columns whose values are what their header says."""
    return sum(
        any(
            c.strength > synonyms.Strength.PART
            and fits(c, profile(str(header), cells[header]))
            for c in synonyms.candidates(str(header))
        )
        for header in cells.columns
    )
