"""A wrong syringe size confirmed on the driver: what its ratio of flow would be.

A driver moves a plunger; volume is travel times the barrel's cross-section. With
another size confirmed than stands in the driver it delivers (true diameter / confirmed
diameter)^2 of what was set. Diameters are general ones of each nominal size, the middle
of common ranges (10 mL 14.4 to 15.9 mm, 20 mL 19.0 to 20.2, 30 mL 21.6 to 23.2, 50 mL
26.5 to 29.2): common practice, no source. Nominal volumes say nothing of it: barrels of
one nominal volume may differ in length.
"""

from itertools import permutations

import numpy as np

#: Inner diameter of a barrel by its nominal size [mL: mm].
DIAMETERS_MM = {10.0: 15.0, 20.0: 19.5, 30.0: 22.5, 50.0: 27.8}

#: A ratio within this share of that of two sizes fits them.
TOLERANCE = 0.05

#: Pairs named in a sentence.
_MOST = 2


def size_ratio(true_ml: float, confirmed_ml: float) -> float:
    """Give delivered over set volume with another size confirmed than is in place.

    Parameters
    ----------
    true_ml, confirmed_ml : float
        Nominal sizes [mL] among `DIAMETERS_MM`.

    Returns
    -------
    float
        Ratio of the barrels' cross-sections.

    Examples
    --------
    >>> round(size_ratio(20, 30), 2)
    0.75
    """
    return (DIAMETERS_MM[true_ml] / DIAMETERS_MM[confirmed_ml]) ** 2


def sizes_that_fit(ratio: float, size_ml: float) -> list[tuple[float, float]]:
    """Find the sizes, in place and confirmed, that a ratio of flow fits.

    Parameters
    ----------
    ratio : float
        Delivered over set volume.
    size_ml : float
        Syringe size charted [mL]; NaN where it is not. It may be the one in place or
        the one confirmed: pairs without it are then left out.

    Returns
    -------
    list of (float, float)
        Size in place and size confirmed, the nearest first, at most two.
    """
    if not ratio > 0:
        return []
    charted = 50.0 if size_ml == 60 else size_ml
    pairs = [
        (abs(np.log(ratio / size_ratio(*pair))), pair)
        for pair in permutations(DIAMETERS_MM, 2)
        if charted in pair or charted not in DIAMETERS_MM
    ]
    fits = sorted(pair for pair in pairs if pair[0] <= np.log1p(TOLERANCE))
    return [pair for _, pair in fits[:_MOST]]


def sizes_in_words(ratio: float, size_ml: float) -> str:
    """Say which wrong size a ratio of flow fits.

    Parameters
    ----------
    ratio : float
        Delivered over set volume.
    size_ml : float
        Syringe size charted [mL]; NaN where it is not.

    Returns
    -------
    str
        For after "consistent with"; empty where none fits.

    Examples
    --------
    >>> sizes_in_words(0.75, 20)
    'a 20 mL syringe confirmed as 30 mL (0.75 by general sizes)'
    """
    said = [
        f"a {true:g} mL syringe confirmed as {confirmed:g} mL "
        f"({size_ratio(true, confirmed):.2f} by general sizes)"
        for true, confirmed in sizes_that_fit(ratio, size_ml)
    ]
    return " or ".join(said)
