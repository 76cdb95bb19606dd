"""Numbers in charts: what is read, what is said about it, and what is never read."""

from decimal import Decimal as Exact

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.intake.numbers import Mark, Qualifier, decide_decimal, read_plain


def read(cell: str, mark: str | None = None) -> tuple[str, str, str]:
    row = read_plain(pd.Series([cell], dtype="str"), mark).iloc[0]
    return row["value"], row["qualifier"], row["unit"]


@pytest.mark.parametrize(
    ("cell", "wanted"),
    [
        pytest.param("13", ("13", "", ""), id="a plain number"),
        pytest.param("13.0", ("13.0", "", ""), id="digits are kept as written"),
        pytest.param("13,3", ("13.3", "", ""), id="a decimal comma, in any file"),
        pytest.param("13 mls", ("13", "", "mL"), id="a unit behind a blank"),
        pytest.param("14mls", ("14", "", "mL"), id="a unit without a blank"),
        pytest.param("0.62ml/hr", ("0.62", "", "mL/h"), id="a rate per hour"),
        pytest.param("14.5 mL / 24 hrs", ("14.5", "", "mL/24 h"), id="a rate per day"),
        pytest.param("98%", ("98", "", "%"), id="per cent"),
        pytest.param("300 µg", ("300", "", "microgram"), id="the micro sign"),
        pytest.param("300 μg", ("300", "", "microgram"), id="the Greek letter mu"),
        pytest.param("24 h", ("24", "", "h"), id="hours"),
        pytest.param("<1", ("1", "below", ""), id="below a limit"),
        pytest.param("less than 1 ml", ("1", "below", "mL"), id="below, in words"),
        pytest.param(">10", ("10", "above", ""), id="above a limit"),
        pytest.param("10+", ("10", "above", ""), id="above, by a plus behind"),
        pytest.param("~13", ("13", "approximate", ""), id="a tilde"),
        pytest.param("approx. 13", ("13", "approximate", ""), id="approximate, a word"),
        pytest.param("13?", ("13", "approximate", ""), id="a question mark behind"),
        pytest.param("13-14", ("13.5", "range", ""), id="a range gives its middle"),
        pytest.param(
            "13 \u2013 14 mls", ("13.5", "range", "mL"), id="a range with a dash"
        ),
        pytest.param("13 to 14.5", ("13.75", "range", ""), id="a range in words"),
        pytest.param("13½", ("13.5", "", ""), id="a half sign"),
        pytest.param("½", ("0.5", "", ""), id="a half sign alone"),
        pytest.param(
            "-1", ("-1", "", ""), id="a minus is kept for the limits to refuse"
        ),
        pytest.param("\u22121", ("-1", "", ""), id="the minus sign of typesetters"),
        pytest.param("-0.0", ("0.0", "", ""), id="minus nothing is nothing"),
        pytest.param("+5", ("5", "", ""), id="a plus before"),
        pytest.param(".5", ("0.5", "", ""), id="no figure before the point"),
        pytest.param("5.", ("5", "", ""), id="no figure behind the point"),
        pytest.param("007", ("7", "", ""), id="zeros before"),
        pytest.param("1,234.5", ("1234.5", "", ""), id="both marks, point last"),
        pytest.param("1.234,5", ("1234.5", "", ""), id="both marks, comma last"),
        pytest.param("1 234,5", ("1234.5", "", ""), id="thousands by a blank"),
        pytest.param("1,234,567", ("1234567", "", ""), id="thousands twice"),
        pytest.param("", ("", "", ""), id="an empty cell is nothing"),
    ],
)
def test_a_number_is_read_as_its_writer_meant_it(
    cell: str, wanted: tuple[str, str, str]
) -> None:
    assert read(cell) == wanted


@pytest.mark.parametrize(
    "cell",
    [
        pytest.param("l0.2", id="a letter l is no 1"),
        pytest.param("5.O", id="a letter O is no 0"),
        pytest.param("1e400", id="an exponent beyond any number"),
        pytest.param("1e3", id="an exponent"),
        pytest.param("inf", id="infinity"),
        pytest.param("nan", id="not a number, by name"),
        pytest.param("0x10", id="a number of a programmer"),
        pytest.param("see chart", id="words"),
        pytest.param("half full", id="words about volume"),
        pytest.param("not 13", id="an unknown word before"),
        pytest.param("13 ml left", id="unknown words behind"),
        pytest.param("13/14", id="a slash"),
        pytest.param("2026-09-14", id="a date"),
        pytest.param("13:05", id="a time"),
        pytest.param("1..2", id="two points"),
        pytest.param("1.2.3", id="points that group nothing"),
        pytest.param("1,23,4", id="commas that group nothing"),
        pytest.param("1 2", id="two numbers"),
        pytest.param("13-", id="half a range"),
        pytest.param("13 ml - 14 mg", id="a range of two units"),
        pytest.param("~13-14", id="two qualifiers"),
        pytest.param("=13", id="a formula"),
        pytest.param("١٣", id="figures of another script"),
        pytest.param("1,250", id="a comma that may group thousands, nothing known"),
    ],
)
def test_what_is_no_number_is_not_read(cell: str) -> None:
    assert read(cell) == ("", "", "")


@pytest.mark.parametrize(
    ("cell", "mark", "wanted"),
    [
        pytest.param("1,250", Mark.POINT, "1250", id="a comma in a file with points"),
        pytest.param("1,250", Mark.COMMA, "1.250", id="a comma in a file with commas"),
        pytest.param("1.250", Mark.COMMA, "1250", id="a point in a file with commas"),
        pytest.param("1.250", Mark.POINT, "1.250", id="a point in a file with points"),
        pytest.param("0,667", Mark.POINT, "0.667", id="no thousands begin with 0"),
        pytest.param("13,3", Mark.POINT, "13.3", id="one figure is no thousand"),
    ],
)
def test_the_file_settles_what_a_mark_before_three_figures_is(
    cell: str, mark: Mark, wanted: str
) -> None:
    assert read(cell, mark)[0] == wanted


@pytest.mark.parametrize(
    ("cells", "wanted"),
    [
        pytest.param(["13.3", "8"], Mark.POINT, id="points"),
        pytest.param(["13,3", "0,62 ml/h"], Mark.COMMA, id="commas"),
        pytest.param(["13", "8"], Mark.POINT, id="no decimals at all"),
        pytest.param([], Mark.POINT, id="no cells"),
        pytest.param(["1.250", "0.667"], Mark.POINT, id="a zero before shows it"),
        pytest.param(["1,250", "0,667"], Mark.COMMA, id="a zero before a comma too"),
        pytest.param(
            ["1,250", "13.3"], Mark.POINT, id="another cell settles thousands"
        ),
        pytest.param(["1.250,5"], Mark.COMMA, id="both marks: the last one"),
        pytest.param(["1,250"], None, id="one comma before three figures is open"),
        pytest.param(
            ["1,250", "13.3", "13,3"], None, id="contradicting cells leave it"
        ),
        pytest.param(["see 13,3 ml chart"], Mark.POINT, id="words tell nothing"),
    ],
)
def test_the_file_as_a_whole_decides_the_mark(
    cells: list[str], wanted: Mark | None
) -> None:
    found = decide_decimal([pd.Series(cells, dtype="str")])
    assert (found.mark if found else None) == wanted


def test_the_evidence_names_a_cell_and_what_speaks_against() -> None:
    found = decide_decimal([pd.Series(["13,3"] * 30), pd.Series(["8.5"])])
    assert found is not None
    assert found.evidence == (
        "numbers with a decimal comma: 30 (13,3); with a point: 1 (8.5)"
    )


def test_cells_keep_their_place_and_index() -> None:
    cells = pd.Series(["13", "", "~8", "13"], index=[7, 3, 5, 1], dtype="str")
    read_ = read_plain(cells, None)
    assert read_.index.tolist() == [7, 3, 5, 1]
    assert read_["value"].tolist() == ["13", "", "8", "13"]
    assert read_["qualifier"].tolist() == ["", "", Qualifier.APPROXIMATE, ""]


NUMBERS = st.decimals(min_value=0, max_value=999, places=2)


@given(NUMBERS, st.sampled_from(["", " ml", "mls", " %", " mL/h"]))
def test_a_number_written_with_either_mark_reads_back(value: Exact, tail: str) -> None:
    for written in (f"{value}{tail}", f"{value}{tail}".replace(".", ",")):
        assert Exact(read(written)[0]) == value


@given(st.text(alphabet="0123456789.,-+ ~<>mlO%e'½"))
def test_whatever_is_read_is_a_plain_decimal(cell: str) -> None:
    value, _, _ = read(cell)
    assert not value or pd.Series([value]).str.fullmatch(r"-?[0-9]+(\.[0-9]+)?").all()
