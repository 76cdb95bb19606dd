"""The same tables at any number of threads, and in blocks of any size."""

from pathlib import Path

import pytest

import analysis
from analysis import threads
from analysis.intake import read_exports, scan, sheet
from analysis.policy import Policy
from tests.intake.logs import assert_same

DEMO = Path(analysis.__file__).parents[1] / "synthetic_data"
EXPORTS = [DEMO / f"{name}.csv" for name in ("checks", "infusions", "lines")]


@pytest.mark.parametrize("most", [1, 2, 8])
def test_any_number_of_threads_gives_the_same_tables(
    most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    usual = read_exports(EXPORTS, Policy.example())
    monkeypatch.setattr(threads, "_MOST", most)
    monkeypatch.setattr("os.cpu_count", lambda: most)
    monkeypatch.setattr(scan, "_BLOCK", 10_000)
    monkeypatch.setattr(sheet, "_PART", 100)
    assert_same(read_exports(EXPORTS, Policy.example()), usual)


def test_what_was_given_comes_back_in_its_order() -> None:
    assert threads.side_by_side(lambda n: n * n, range(50)) == [
        n * n for n in range(50)
    ]
    assert threads.side_by_side(str, []) == []


def test_what_goes_wrong_in_a_thread_is_told() -> None:
    with pytest.raises(ZeroDivisionError):
        threads.side_by_side(lambda n: 1 // n, [1, 0])
