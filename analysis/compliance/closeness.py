"""How close an infusion's readings lie to its line, beside what reading can do.

A volume read from marks one step apart is off by up to half a step, evenly. An
infusion whose readings are all much nearer is consistent with numbers worked out.
"""

import numpy as np
import pandas as pd
from scipy.special import gammaln

from analysis.delivery.line import SET_RATE

#: Chance that an infusion honestly read is called too close to its line, at most.
FALSE_ALARM = 0.001
#: Fewer readings than this cannot be that unlikely.
FEWEST_READINGS = 3


def closeness(read: pd.DataFrame) -> pd.DataFrame:
    """Say of each infusion how unlikely its readings are so close to its line.

    Parameters
    ----------
    read : DataFrame
        As given by `readings_on_line`; infusions one after another.

    Returns
    -------
    DataFrame
        One row an infusion, in order: readings (those used), has_line and
        has_start_volume (throughout), chance that rounding leaves them so close at
        most, and chance_of_line, the same of the line from the nearest marks.
    """
    run = (~read["infusion_id"].duplicated()).cumsum()
    by = read.assign(
        off=((read["residual_ml"] / read["step_ml"]) ** 2).where(read["is_used"], 0),
        least=_off_marks(read).where(read["is_used"], 0),
        has_line=read["basis"] == SET_RATE,
    ).groupby(run)
    sums = by[["is_used", "off", "least"]].sum()
    return (
        by[["has_line", "has_start_volume"]]
        .all()
        .assign(
            readings=sums["is_used"],
            chance=chance_as_close(sums["off"], sums["is_used"]),
            chance_of_line=chance_as_close(sums["least"], sums["is_used"]),
        )
    )


def _off_marks(read: pd.DataFrame) -> pd.Series:
    """Give the squared distance of the line from the ward's nearest mark, in steps."""
    marks = read["expected_ml"] / read["step_ml"]
    return (marks - marks.round()) ** 2


def chance_as_close(squares: pd.Series, readings: pd.Series) -> pd.Series:
    """Bound the chance that rounding leaves readings so close to their line.

    Parameters
    ----------
    squares : Series of float, shape (n,)
        Sum of the squared distances from the line, in reading steps.
    readings : Series of int, shape (n,)
        How many readings are summed.

    Returns
    -------
    Series of float, shape (n,)
        Volume of the ball of that radius, at most 1: exact for rounding alone where
        `squares` is at most 1/4, and never below the chance.

    Examples
    --------
    >>> chance_as_close(pd.Series([0.01]), pd.Series([2])).round(4).tolist()
    [0.0314]
    """
    half = readings / 2
    radius = np.log(squares.where(squares > 0))
    volume = half * np.log(np.pi) + half * radius - gammaln(half + 1)
    chance: pd.Series = np.exp(volume.clip(upper=0)).fillna(0.0)
    return chance.mask(readings == 0, 1.0)
