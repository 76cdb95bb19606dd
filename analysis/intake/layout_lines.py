"""Where in a layout file an entry stands: a parsed TOML no longer says it."""

import re
import tomllib
from collections.abc import Mapping
from typing import Any

_TABLE = re.compile(r"\s*\[\[\s*(?:table|\"table\"|'table')\s*\]\]")


def table_lines(text: str, count: int) -> list[str]:
    """Say in which line each ``[[table]]`` begins.

    Parameters
    ----------
    text : str
        TOML.
    count : int
        How many tables were read from it.

    Returns
    -------
    list of str, length count
        In words, to stand after a name; empty where they cannot be told apart, as in a
        text that writes its tables another way.
    """
    lines = text.split("\n")
    found = [n for n, line in enumerate(lines, 1) if _TABLE.match(line)]
    if len(found) != count:
        return [""] * count
    return [f" (from line {n})" for n in found]


def open_places(data: Mapping[str, Any], mark: str, path: str = "") -> list[str]:
    """Give the entries of a table that still hold a question.

    Parameters
    ----------
    data : mapping
        A table as parsed.
    mark : str
        What stands for a question.
    path : str
        Where `data` stands itself, with its dot; empty: at the top.

    Returns
    -------
    list of str
        Paths, such as ``words.entry.x``.

    Examples
    --------
    >>> open_places({"clock": "?", "words": {"entry": {"x": "?", "y": "end"}}}, "?")
    ['clock', 'words.entry.x']
    """
    found = []
    for key, value in data.items():
        place = f"{path}{key}"
        if key != _MARKS_OF_A_CHART and _holds(value, mark):
            found.append(place)
        elif isinstance(value, dict):
            found += open_places(value, mark, f"{place}.")
    return found


#: Here a question mark may be what is charted.
_MARKS_OF_A_CHART = "not_recorded"


def _holds(value: object, mark: str) -> bool:
    if isinstance(value, list):
        return any(_holds(part, mark) for part in value)
    return value == mark


def open_lines(text: str, mark: str) -> dict[tuple[int, str], int]:
    """Find the line of each question: the one that, answered, closes it.

    Parameters
    ----------
    text : str
        TOML with a list of tables under ``table``.
    mark : str
        What stands for a question.

    Returns
    -------
    dict of (int, str) to int
        Number of the table, from 0, and path to number of the line, from 1. A question
        that takes several lines is not in it; empty where there are hundreds.
    """
    lines = text.split("\n")
    asked = _all_open(text, mark)
    if len(asked) > _MOST:
        return {}
    found: dict[tuple[int, str], int] = {}
    for place, line in enumerate(lines):
        answered = line.replace(f'"{mark}"', _ANSWER).replace(f"'{mark}'", _ANSWER)
        if answered == line:
            continue
        others = [*lines[:place], answered, *lines[place + 1 :]]
        try:
            left = _all_open("\n".join(others), mark)
        except tomllib.TOMLDecodeError:  # the answer is a key that is there already
            continue
        found |= dict.fromkeys(asked - left, place + 1)
    return found


_ANSWER = '"answered"'
#: The text is parsed once for each: with more questions the first lines are no help.
_MOST = 200


def _all_open(text: str, mark: str) -> set[tuple[int, str]]:
    tables = tomllib.loads(text)["table"]
    return {
        (number, path)
        for number, table in enumerate(tables)
        if isinstance(table, dict)
        for path in open_places(table, mark)
    }
