"""Parts side by side: arrow and numpy let go of the interpreter while they work."""

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")
R = TypeVar("R")

#: Much of it is bound by memory or waits for the interpreter: more gain nothing.
_MOST = 4


def side_by_side(do: Callable[[T], R], things: Iterable[T]) -> list[R]:
    """Do the same to several things at once; what comes of it is in their order.

    Parameters
    ----------
    do : callable
        Changes nothing but what is its thing's own, so that the order does not count.
    things : iterable
        Columns, blocks of a text, or batches of infusions.

    Returns
    -------
    list
        What `do` gave for each, in the order of `things`, at any number of threads.
    """
    every = list(things)
    if len(every) <= 1:
        return [do(thing) for thing in every]
    with ThreadPoolExecutor(min(_MOST, os.cpu_count() or 1)) as pool:
        return list(pool.map(do, every))


def at_once(*work: Callable[[], Any]) -> list[Any]:
    """Do different things at once.

    Parameters
    ----------
    *work : callable
        None changes what another reads, so that the order does not count.

    Returns
    -------
    list
        What each gave, in their order, at any number of threads.

    Examples
    --------
    >>> at_once(lambda: 1, lambda: "two")
    [1, 'two']
    """
    return side_by_side(_done, work)


def _done(work: Callable[[], Any]) -> Any:
    return work()
