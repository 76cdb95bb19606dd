"""Columns of text by codes against the same columns written out."""

import pickle
from collections.abc import Callable

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.texts import CodedText, coded_text, same, spread

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
