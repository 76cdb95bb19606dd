"""Any damage to a valid export ends in accounts that balance, or in one sentence."""

import random
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from analysis.errors import InputError
from analysis.intake import Log, read_exports
from tests.intake import test_dialects as dialects
from tests.intake.logs import POLICY

NAME = "export"
#: Some 20 s on an idle machine; a run by hand goes far beyond this.
EXAMPLES = 40
#: One sentence; or a heading, numbered points, and what to do.
REFUSAL = re.compile(
    r"[^\n]+|[^\n]+:\n  1\. [^\n]+(\n  \d\. [^\n]+)+(\n  and \d+ more, [^\n]+)?"
    r"\n`steadyfall layout [^\n]+"
)

Mutation = Callable[[bytes], bytes]

_PLACE = st.floats(0, 1, exclude_max=True)


def at(data: bytes, place: float) -> int:
    """Give a place in the data, wherever it is cut by then."""
    return int(place * len(data))


def flip(place: float, bits: int) -> Mutation:
    def mutate(data: bytes) -> bytes:
        k = at(data, place)
        return data[:k] + bytes(b ^ bits for b in data[k : k + 1]) + data[k + 1 :]

    return mutate


def delete(place: float, length: int) -> Mutation:
    return lambda data: data[: at(data, place)] + data[at(data, place) + length :]


def duplicate(place: float, length: int) -> Mutation:
    def mutate(data: bytes) -> bytes:
        k = at(data, place)
        return data[: k + length] + data[k:]

    return mutate


def insert(place: float, what: bytes) -> Mutation:
    return lambda data: data[: at(data, place)] + what + data[at(data, place) :]


def truncate(place: float) -> Mutation:
    return lambda data: data[: at(data, place)]


def shuffle(seed: int) -> Mutation:
    """Put the lines after the first in another order."""

    def mutate(data: bytes) -> bytes:
        head, *lines = data.split(b"\n")
        random.Random(seed).shuffle(lines)  # noqa: S311 - a test's own order
        return b"\n".join([head, *lines])

    return mutate


def repeat_line(place: float, to: float) -> Mutation:
    """Write one line, perhaps the header, again somewhere else."""

    def mutate(data: bytes) -> bytes:
        lines = data.split(b"\n")
        line = lines[int(place * len(lines))]
        lines.insert(int(to * len(lines)), line)
        return b"\n".join(lines)

    return mutate


def swap_delimiters(one: bytes, other: bytes, place: float) -> Mutation:
    """Write another delimiter from some place on."""

    def mutate(data: bytes) -> bytes:
        k = at(data, place)
        return data[:k] + data[k:].replace(one, other)

    return mutate


_MARKS = st.sampled_from([b",", b";", b"\t", b"|", b" "])
MUTATIONS = st.one_of(
    st.builds(flip, _PLACE, st.integers(1, 255)),
    st.builds(delete, _PLACE, st.integers(1, 60)),
    st.builds(duplicate, _PLACE, st.integers(1, 200)),
    st.builds(
        insert,
        _PLACE,
        st.sampled_from(
            [b'"', b"\x00", b"\r", b"\n", b"\xff", b'""', b"=1+1", b"\x1a"]
        ),
    ),
    st.builds(truncate, _PLACE),
    st.builds(shuffle, st.integers(0, 999)),
    st.builds(repeat_line, _PLACE, _PLACE),
    st.builds(swap_delimiters, _MARKS, _MARKS, _PLACE),
)

WRITERS = (
    dialects.write_canonical,
    dialects.write_semicolons,
    dialects.write_tabs,
    dialects.write_offsets,
    dialects.write_date_and_time_apart,
    dialects.write_workbook,
)


@pytest.fixture(scope="module")
def valid(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, ...]:
    """Give the bytes of one log in each dialect."""
    folder = tmp_path_factory.mktemp("valid")
    return tuple(write(folder).read_bytes() for write in WRITERS)


def assert_balances(log: Log) -> None:
    """Count the books again, from the tables and not from the account."""
    account = log.account
    fates = ["accepted", "rejected", "superseded", "exact_duplicates"]
    assert (account["rows_read"] == account[fates].sum(axis=1)).all()
    assert (account[fates] >= 0).all(axis=None)
    checks = account[account["table"] == "checks"]
    assert len(log.checks) == checks["accepted"].sum() > 0
    assert len(log.rejected) == account["rejected"].sum()
    assert log.checks["source"].is_unique
    assert log.rejected["source"].is_unique
    assert not set(log.checks["source"]) & set(log.rejected["source"])
    assert set(log.set_aside["source"]) <= set(log.checks["source"])
    placed = log.checks[["ward", "patient_id"]]
    assert (placed != "").all(axis=None)
    assert log.checks["checked_at"].notna().all()


def outcome(path: Path) -> Log | str:
    """Give the log, or the sentence that refuses it; anything else is a fault."""
    try:
        return read_exports([path], POLICY)
    except InputError as error:
        return str(error)


def assert_ends_well(found: Log | str) -> None:
    """Hold the books against themselves; a refusal names the file, a point a line."""
    if isinstance(found, Log):
        assert_balances(found)
    else:
        assert found.startswith(NAME)
        assert REFUSAL.fullmatch(found)


@given(
    base=st.integers(0, len(WRITERS) - 1),
    mutations=st.lists(MUTATIONS, min_size=1, max_size=3),
)
@example(base=0, mutations=[truncate(0.25), delete(0.0, 16)])  # one half row is left
@settings(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_any_mutation_ends_in_books_that_balance_or_in_one_sentence(
    tmp_path: Path, valid: tuple[bytes, ...], base: int, mutations: list[Mutation]
) -> None:
    data = valid[base]
    for mutate in mutations:
        data = mutate(data)
    path = tmp_path / NAME
    path.write_bytes(data)
    assert_ends_well(outcome(path))


@pytest.mark.parametrize("base", range(len(WRITERS)))
def test_what_is_mutated_is_a_valid_log(
    tmp_path: Path, valid: tuple[bytes, ...], base: int
) -> None:
    path = tmp_path / NAME
    path.write_bytes(valid[base])
    assert_balances(read_exports([path], POLICY))
