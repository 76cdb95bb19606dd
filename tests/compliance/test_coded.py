"""Texts as codes, and adding up what is at an edge; none of it needs an audit."""

import pandas as pd
import pytest

from analysis.compliance.coded import as_texts, coded, in_order, kind_of, together
from analysis.compliance.measure import WORDS, words
from analysis.compliance.unit_tables import months_of
from analysis.compliance.units import measure_units
from analysis.terms import Exclusion


def test_a_word_of_no_closed_list_is_refused_and_named() -> None:
    with pytest.raises(ValueError, match="on tyme"):
        words(pd.Series(["on time", "on tyme"]))


def test_words_keep_their_text() -> None:
    found = words(pd.Series(["on time", "", str(Exclusion.PAUSED)]))
    assert found.dtype == WORDS
    assert found.astype("str").tolist() == ["on time", "", "paused"]


def test_columns_of_several_categories_become_one_and_missing_stays_missing() -> None:
    (one,) = coded([pd.Series(["b", None, "a"], dtype="str")])
    found = together([one, pd.Series(["c", "a"], dtype="str")])
    assert found.cat.categories.tolist() == ["a", "b", "c"]
    assert found.isna().tolist() == [False, True, False, False, False]
    assert found.dropna().tolist() == ["b", "a", "c", "a"]


def test_a_type_made_the_quick_way_is_the_one_pandas_makes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    different = pd.Index(["b", "a", "\N{MICRO SIGN}"], dtype="str")
    plain = pd.CategoricalDtype(different, ordered=False)
    quick = kind_of(different)
    codes = [1, -1, 0, 2]
    for kind in (quick, plain):
        held = pd.Series(pd.Categorical.from_codes(codes, dtype=kind))
        assert held.astype("str").tolist()[2:] == ["b", "\N{MICRO SIGN}"]
        assert held.isna().tolist() == [False, True, False, False]
    assert quick == plain
    assert hash(quick) == hash(plain)
    assert quick.ordered is plain.ordered is False
    # A pandas that has no quick way.
    if hasattr(pd.CategoricalDtype, "_from_fastpath"):
        monkeypatch.delattr(pd.CategoricalDtype, "_from_fastpath")
    assert kind_of(different) == plain


def test_units_of_one_id_are_put_in_order_of_time() -> None:
    due = pd.to_datetime(["2026-06-03", "2026-06-01", "2026-06-02"])
    units = pd.DataFrame({"unit_id": ["b", "b", "a"], "due_at": due})
    assert in_order(units)["due_at"].dt.day.tolist() == [2, 1, 3]


def test_a_month_is_that_of_the_local_day() -> None:
    times = pd.to_datetime(pd.Series(["2026-05-31 23:30Z", None]), utc=True)
    found = months_of(times.dt.tz_convert("Europe/London"))
    assert as_texts(found.to_frame("m"))["m"].tolist()[0] == "2026-06"
    assert found.isna().tolist() == [False, True]


MIDNIGHTS = [
    pytest.param(
        "America/Havana",
        {"2020-10-31 23:59": "2020-10", "2020-11-01 00:00": "2020-11"},
        id="clocks go back on the first, at one in the morning",
    ),
    pytest.param(
        "Asia/Amman",
        {"2016-03-31 23:59": "2016-03", "2016-04-01 01:00": "2016-04"},
        id="the first begins at one in the morning",
    ),
    pytest.param(
        "Europe/London",
        {"2025-12-31 23:59": "2025-12", "2026-02-01 00:00": "2026-02"},
        id="a month between has nothing",
    ),
]


@pytest.mark.parametrize(("zone", "expected"), MIDNIGHTS)
def test_a_month_begins_with_its_first_local_moment(
    zone: str, expected: dict[str, str]
) -> None:
    local = pd.Series(pd.to_datetime(list(expected)))
    times = local.dt.tz_localize(zone, ambiguous=True)
    assert months_of(times).astype("str").tolist() == list(expected.values())


def test_units_of_no_known_time_have_no_month() -> None:
    times = pd.Series([pd.NaT, pd.NaT], dtype="datetime64[us, Europe/London]")
    assert months_of(times).isna().all()


def units(**columns: object) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "measure": "m",
            "ward": "Alder Ward",
            "month": "2026-06",
            "patient_id": "P1",
            "tally": "counted",
            "numerator": 1.0,
            "denominator": 1.0,
            **columns,
        },
        index=range(2),
    )


EDGES = [
    pytest.param(
        units(tally="excluded", numerator=float("nan"), denominator=float("nan")),
        (2, 2, 0.0, True),
        id="all units excluded: none judged, and no share of nothing",
    ),
    pytest.param(units(), (2, 0, 2.0, False), id="two units of one patient"),
    pytest.param(
        units(month=["2026-06", None]),
        (2, 0, 2.0, False),
        id="a unit of no known time is in the whole log",
    ),
]


@pytest.mark.parametrize(("given", "expected"), EDGES)
def test_adding_up_at_the_edges(
    given: pd.DataFrame, expected: tuple[int, int, float, bool]
) -> None:
    found = measure_units([given], ["m", "none"], frozenset())
    whole = found[(found["ward"] == "all") & (found["period"] == "all")]
    line, empty = whole.iloc[0], whole.iloc[1]
    told = (line["units"], line["excluded"], line["denominator"])
    assert (*told, pd.isna(line["proportion"])) == expected
    assert pd.isna(line["low"])  # one patient: counts only
    assert (empty["measure"], empty["units"]) == ("none", 0)
    assert pd.isna(empty["proportion"])
    monthly = found[(found["ward"] == "all") & (found["period"] != "all")]
    assert monthly["units"].sum() == given["month"].notna().sum()
