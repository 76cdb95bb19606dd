"""Where the numbers of points go: beside their points, and off each other."""

import numpy as np

#: Distances from its point at which a number may stand, nearest first [inches].
_NEAR = (0.1, 0.14, 0.19, 0.25, 0.32, 0.4, 0.5, 0.62)
_TURNS = np.arange(16) * np.pi / 8

#: Half of a point's mark, about [inches].
_MARK = 0.045


def beside_points(
    points: np.ndarray, halves: np.ndarray, span: tuple[float, float]
) -> np.ndarray:
    """Give each label the nearest spot at which it covers no point and no other label.

    Those with the closest neighbours choose first. Where all spots are taken, the one
    that covers least is left.

    Parameters
    ----------
    points : array of float, shape (n, 2)
        Where the points are [inches from the lower left corner].
    halves : array of float, shape (n, 2)
        Half the width and height of each label [inches].
    span : tuple of float
        Width and height of the axes [inches].

    Returns
    -------
    array of float, shape (n, 2)
        Centres of the labels, inside the axes where there is room [inches].

    Examples
    --------
    >>> two = np.array([[1.0, 1.0], [1.02, 1.0]])
    >>> one, other = beside_points(two, np.full((2, 2), 0.05), (2.0, 2.0))
    >>> bool(np.abs(one - other).max() >= 0.1)
    True
    """
    away = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    np.fill_diagonal(away, np.inf)
    around = np.concatenate(
        [near * np.column_stack([np.cos(_TURNS), np.sin(_TURNS)]) for near in _NEAR]
    )
    # Nearer spots are better, and a spot straight beside its point than one aslant.
    effort = np.repeat(_NEAR, len(_TURNS)) + 0.004 * np.tile(
        np.arange(len(_TURNS)) % 4 > 0, len(_NEAR)
    )
    found = points.copy()
    placed: list[int] = []
    for which in np.argsort(away.min(axis=1), kind="stable"):
        half = halves[which]
        spots = points[which] + around
        covered = _overlap(spots, half, points, np.full((len(points), 2), _MARK))
        covered += _overlap(spots, half, found[placed], halves[placed])
        is_out = (spots < half) | (spots > np.array(span) - half)
        cost = effort + 100 * covered + 10 * is_out.any(axis=1)
        found[which] = spots[np.argmin(cost)]
        placed.append(int(which))
    return found


def _overlap(
    spots: np.ndarray, half: np.ndarray, others: np.ndarray, halves: np.ndarray
) -> np.ndarray:
    """Add up what a box at each spot covers of the boxes of others [inches]."""
    gap = np.abs(spots[:, None] - others[None]) - (half + halves)[None]
    depth = (-gap).clip(min=0).min(axis=2)
    total: np.ndarray = depth.sum(axis=1)
    return total
