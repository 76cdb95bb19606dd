"""Names of columns that come again."""

from analysis.intake.repeats import tell_apart


def test_a_header_of_thousands_of_columns_is_told_apart() -> None:
    pairs = [name for _ in range(2000) for name in ("Drug", "Dose")]
    names = tell_apart(["Ward", *pairs, *(f"extra {i}" for i in range(5000))])
    assert names[:5] == ["Ward", "Drug", "Dose", "Drug (2)", "Dose (2)"]
    assert names[4000] == "Dose (2000)"
    assert len(set(names)) == len(names)
