"""Columns of text by codes against the same columns written out."""

import pickle
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.coded_column import CodedText
from analysis.intake import read_exports
from analysis.policy import Policy
from analysis.texts import by_codes, coded_text, fits_pandas, same, spread
from tests.intake.logs import assert_same

FEW = settings(max_examples=30, deadline=None)

TEXTS = st.lists(st.sampled_from(["", "a", "b", "A b", "=x", "é", "10", "9"]))


def both(texts: list[str]) -> tuple[pd.Series, pd.Series]:
    """Give the same texts by codes, with a text that no row has, and written out."""
    different = pa.array(["zz", *sorted(set(texts), reverse=True)], pa.large_string())
    place = {text: i for i, text in enumerate(different.to_pylist())}
    codes = np.array([place[text] for text in texts], dtype=np.int32)
    return pd.Series(CodedText.of(codes, different)), pd.Series(texts, dtype="str")


def every_other(column: pd.Series) -> pd.Series:
    out = column.copy()
    out[np.arange(len(out)) % 2 == 0] = "new"
    return out


SAME: dict[str, Callable[[pd.Series], pd.Series]] = {
    "written out": lambda s: s,
    "compared with a text": lambda s: s == "a",
    "not equal to a text": lambda s: s != "",
    "after a text": lambda s: s > "a",
    "compared with a column": lambda s: s == s[::-1].reset_index(drop=True),
    "counted": lambda s: s.value_counts(),
    "different ones": lambda s: pd.Series(s.unique()),
    "numbered": lambda s: pd.Series(pd.factorize(s)[0]),
    "numbered in order": lambda s: pd.Series(pd.factorize(s, sort=True)[0]),
    "names in order": lambda s: pd.Series(pd.factorize(s, sort=True)[1]),
    "said before": lambda s: s.duplicated(),
    "said twice": lambda s: s.duplicated(keep=False),
    "sorted": lambda s: s.sort_values(kind="stable"),
    "sorted downwards": lambda s: s.sort_values(kind="stable", ascending=False),
    "among": lambda s: s.isin(["a", "b"]),
    "some rows": lambda s: s[s != "a"],
    "a part": lambda s: s.iloc[1:-1],
    "backwards": lambda s: s[::-1],
    "with rows that are missing": lambda s: s.reindex(range(-1, len(s))),
    "missing filled": lambda s: s.reindex(range(-1, len(s))).fillna("none"),
    "masked": lambda s: s.mask(s == "a", "another"),
    "masked by itself": lambda s: s.mask(s == "a", s + "!"),
    "set": every_other,
    "below itself": lambda s: pd.concat([s, s[s != "b"]], ignore_index=True),
    "beside a plain column": lambda s: pd.concat([s, pd.Series(["q"], dtype="str")]),
    "joined": lambda s: s + "/" + s,
    "beginning": lambda s: s.str.startswith("="),
    "matching": lambda s: s.str.fullmatch("[a-z]"),
    "replaced": lambda s: s.str.replace("a", "o"),
    "length": lambda s: s.str.len(),
    "in small letters": lambda s: s.str.lower(),
    "as objects": lambda s: pd.Series(s.to_numpy(dtype=object)),
    "as a list": lambda s: pd.Series(list(s), dtype="str"),
    "grouped": lambda s: s.groupby(s).size(),
    "first of each": lambda s: s.groupby(s, sort=False).first(),
    "as an index": lambda s: pd.Series(range(len(s)), index=pd.Index(s)).sort_index(),
    "kept in a file": lambda s: pickle.loads(pickle.dumps(s)),  # noqa: S301 - its own
    "as categories": lambda s: s.astype("category"),
    "moved down": lambda s: s.shift(),
    "first letter": lambda s: s.str[0],
    "parted": lambda s: s.str.split("b"),
    "extracted": lambda s: s.str.extract("(a)")[0],
    "compared with nothing": lambda s: s == pd.NA,
    "among numbers": lambda s: s.isin([1, None, "a"]),
    "read as numbers": lambda s: pd.to_numeric(s, errors="coerce"),
    "looked up": lambda s: s.map({"a": "1"}),
    "told apart by a number": pd.util.hash_pandas_object,
}

#: What pandas refuses, and by which exception.
REFUSED: dict[str, Callable[[pd.Series], object]] = {
    "a row that is not there": lambda s: s.array[7],
    "a row that is not there, taken": lambda s: s.array.take([7]),
    "a place below the missing one": lambda s: s.array.take([-2], allow_fill=True),
    "a mask of another length": lambda s: s.array[np.array([True])],
    "compared with a number by order": lambda s: s < 1,
    "set to a number": lambda s: s.__setitem__(s == "a", 3),
}


@pytest.mark.parametrize("use", SAME)
@FEW
@given(texts=TEXTS)
def test_texts_by_codes_are_used_as_any_others(use: str, texts: list[str]) -> None:
    coded, plain = both(texts)
    got, wanted = SAME[use](coded), SAME[use](plain)
    pd.testing.assert_series_equal(got, wanted)
    pd.testing.assert_series_equal(coded, plain)  # and is what it was
    pd.testing.assert_series_equal(SAME[use](coded), wanted)  # once more, the same


@pytest.mark.parametrize("use", REFUSED)
def test_what_pandas_refuses_is_refused_alike(use: str) -> None:
    coded, plain = both(["a", "b", "a"])
    with pytest.raises((IndexError, TypeError, ValueError)) as wanted:
        REFUSED[use](plain)
    with pytest.raises(wanted.type):
        REFUSED[use](coded)
    pd.testing.assert_series_equal(coded, plain)


@FEW
@given(texts=TEXTS)
def test_texts_are_read_one_by_one(texts: list[str]) -> None:
    coded, plain = both(texts)
    assert [coded.iloc[i] for i in range(len(texts))] == texts
    assert len(coded) == len(plain)
    assert not coded.isna().any()
    assert coded.equals(plain)
    assert plain.equals(coded)


def test_one_text_for_all_rows_takes_no_room() -> None:
    column = same("x", 1_000_000)
    assert (pd.Series(column) == "x").all()
    assert pd.Series(column).unique().tolist() == ["x"]
    assert pa.array(column[:3]).to_pylist() == ["x", "x", "x"]


def test_no_row_has_no_text() -> None:
    assert len(same("x", 0)) == 0
    assert pd.Series(same("x", 0)).unique().tolist() == []
    assert list(coded_text(pa.chunked_array([], pa.large_string()))) == []


def test_what_is_missing_is_given_on_as_missing() -> None:
    found = spread(pd.array(["a", None], dtype="str"), np.array([1, 0, 1]))
    assert pd.Series(found).isna().tolist() == [True, False, True]


def test_columns_of_several_files_share_their_codes() -> None:
    one, two = coded_text(pa.array(["a", "b", "a", "a"])), same("b", 5)
    together = pd.concat([pd.Series(one), pd.Series(two)], ignore_index=True)
    assert together.tolist() == ["a", "b", "a", "a", *"bbbbb"]
    assert pd.factorize(together)[0].tolist() == [0, 1, 0, 0, 1, 1, 1, 1, 1]


def test_a_copy_does_not_change_with_its_original() -> None:
    coded, _ = both(["a", "b"])
    copy = coded.copy()
    coded[np.array([True, False])] = "c"
    assert copy.tolist() == ["a", "b"]
    assert coded.tolist() == ["c", "b"]


def test_a_column_with_a_missing_text_is_a_plain_one() -> None:
    column = coded_text(pa.array(["a", None, "a"], pa.large_string()))
    assert not isinstance(column, CodedText)
    assert pd.Series(column).isna().tolist() == [False, True, False]


def test_texts_in_several_chunks_have_one_set_of_codes() -> None:
    parts = pa.chunked_array([["a", "b"], [], ["c", "a"]], pa.large_string())
    column = coded_text(parts)
    assert column.tolist() == ["a", "b", "c", "a"]
    assert pd.factorize(pd.Series(column))[0].tolist() == [0, 1, 2, 0]


@pytest.mark.parametrize("is_written", [False, True])
def test_a_few_rows_take_no_texts_of_others_to_a_worker(*, is_written: bool) -> None:
    texts = pa.array([f"text {i}" for i in range(10_000)], pa.large_string())
    some = pd.Series(coded_text(texts)).iloc[5_000:5_010]
    if is_written:
        assert (some + "!").str.endswith("!").all()
    sent = pickle.dumps(some)
    assert len(sent) < 2_000
    assert pickle.loads(sent).tolist() == texts.to_pylist()[5_000:5_010]  # noqa: S301 - its own


# --- a pandas that is not known ---


@pytest.fixture
def anew() -> Iterator[None]:
    fits_pandas.cache_clear()
    yield
    fits_pandas.cache_clear()


def failing(*_: object, **__: object) -> None:
    raise AttributeError("_pa_array")


@pytest.mark.usefixtures("anew")
def test_the_pandas_that_is_installed_is_known() -> None:
    assert fits_pandas()


@pytest.mark.usefixtures("anew")
@pytest.mark.parametrize(
    ("name", "other"),
    [
        pytest.param("_pa_array", None, id="the texts have another name"),
        pytest.param("__getitem__", failing, id="a part raises"),
        pytest.param("isin", lambda self, _: np.zeros(len(self), bool), id="no match"),
        pytest.param("argsort", lambda self, **_: np.arange(len(self)), id="unsorted"),
        pytest.param("_str_contains", failing, id="a method of str raises"),
        pytest.param("__getstate__", lambda _: {}, id="nothing travels to a worker"),
    ],
)
def test_where_pandas_is_another_columns_are_plain(
    name: str, other: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(CodedText, name, other)
    assert not fits_pandas()
    texts = pa.array(["b", "a"], pa.large_string())
    for column in (
        by_codes(np.array([1, 0], dtype=np.int32), texts),
        spread(pd.array(["b", "a"], dtype="str"), np.array([1, 0])),
        coded_text(pa.array(["a", "b"], pa.large_string())),
    ):
        assert type(column) is pd.arrays.ArrowStringArray
        assert isinstance(column.dtype, pd.StringDtype)
        assert column.tolist() == ["a", "b"]
    assert same("x", 2).tolist() == ["x", "x"]


def test_plain_columns_give_the_same_log(monkeypatch: pytest.MonkeyPatch) -> None:
    demo = Path(__file__).parents[1] / "synthetic_data"
    exports = [demo / f"{name}.csv" for name in ("checks", "infusions", "lines")]
    policy = Policy.load(demo / "policy.toml")
    coded = read_exports(exports, policy)
    monkeypatch.setattr("analysis.texts.fits_pandas", lambda: False)
    plain = read_exports(exports, policy)
    assert isinstance(coded.checks["ward"].array, CodedText)
    assert not isinstance(plain.checks["ward"].array, CodedText)
    assert_same(plain, coded)
