"""Single rows of the check log, quickly: a suspect value is looked at with its row."""

from typing import Any

import pandas as pd

REMAINING, DELIVERED, RATE = (
    "volume_remaining_ml",
    "volume_delivered_ml",
    "set_rate_ml_h",
)
_WANTED = (
    "source",
    "ward",
    "patient_id",
    "infusion_id",
    "driver_id",
    "checked_at",
    REMAINING,
    DELIVERED,
    RATE,
)


class Rows:
    """Gives what a row says of itself and of its readings.

    Taking a row out of a frame costs a hundred times what its cells cost.

    Parameters
    ----------
    checks : DataFrame
        Accepted rows of the check log.
    """

    def __init__(self, checks: pd.DataFrame) -> None:
        self._index = checks.index
        self._columns = {name: checks[name].array for name in _WANTED}

    def cells(self, row: int) -> dict[str, Any]:
        """Give the cells of one row by column.

        Parameters
        ----------
        row : int
            Its label in the check log.

        Returns
        -------
        dict
            row (its label), source, whose it is, checked_at, the volumes and the rate;
            NaN or an empty text where nothing is charted.
        """
        place = self._index.get_loc(row)
        cells = {name: values[place] for name, values in self._columns.items()}
        return {"row": row, **cells}
