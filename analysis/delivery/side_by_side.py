"""Parts of one task on the machine's cores, with the results in the order of the parts.

numpy lets other threads run while it goes through large arrays. Each part is worked out
from its own arrays alone, so that the results are the same to the bit for any number of
threads.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Part = TypeVar("Part")
Result = TypeVar("Result")

#: More would wait for one another more than they work: between arrays only one runs.
_THREADS = 2


def side_by_side(work: Callable[[Part], Result], parts: Sequence[Part]) -> list[Result]:
    """Do the same work on each part.

    Parameters
    ----------
    work : callable
        Of one part; it changes nothing that another part looks at.
    parts : sequence
        What it is called with.

    Returns
    -------
    list
        One result a part, in their order.

    Examples
    --------
    >>> side_by_side(len, ["a", "bcd"])
    [1, 3]
    """
    if len(parts) < 2:
        return [work(part) for part in parts]
    with ThreadPoolExecutor(_THREADS) as pool:
        return list(pool.map(work, parts))
