"""Words of charts: what they mean, and what is not guessed."""

import pytest

from analysis.intake import site_words, words


@pytest.mark.parametrize(
    ("cell", "signs"),
    [
        pytest.param(
            "slightly red + tender", ["redness", "pain"], id="two with a plus"
        ),
        pytest.param("Pink/red", ["redness"], id="two words for one sign"),
        pytest.param(
            "Swollen, lump under skin", ["swelling", "hardness"], id="a place"
        ),
        pytest.param("no redness or swelling", ["none"], id="a denial is no sign"),
        pytest.param("no redness, swelling or pain", ["none"], id="a denied list"),
        pytest.param("not red, swollen", ["swelling"], id="a denial ends at a comma"),
        pytest.param("previously red, now settled", ["none"], id="the past is past"),
        pytest.param("NAD", ["none"], id="nothing abnormal"),
        pytest.param("wet", ["leakage"], id="wet is a leak"),
    ],
)
def test_site_words_are_read(cell: str, signs: list[str]) -> None:
    assert site_words.site_signs(cell, {}) == (signs, [])


@pytest.mark.parametrize(
    "cell",
    [
        pytest.param("\u2713", id="a tick under the site has two meanings"),
        pytest.param("blotchy", id="an unknown word"),
        pytest.param("none; red", id="none and something at once"),
        pytest.param("was red", id="the past says nothing of today"),
    ],
)
def test_site_words_are_not_guessed(cell: str) -> None:
    known, unknown = site_words.site_signs(cell, {})
    assert not known
    assert unknown


def test_a_layouts_words_lead() -> None:
    assert site_words.site_signs("\u2713", {"\u2713": "none"}) == (["none"], [])
    assert site_words.site_signs("nil; odd", {"odd": "redness"}) == ([], ["nil; odd"])


@pytest.mark.parametrize(
    ("cell", "place"),
    [
        pytest.param("L upper arm", "upper arm", id="a side before"),
        pytest.param("Chest wall (right)", "chest", id="a side behind"),
        pytest.param("tummy", "abdomen", id="everyday word"),
        pytest.param("bed 4", None, id="no place on a body"),
    ],
)
def test_places_are_read(cell: str, place: str | None) -> None:
    assert words.location(cell) == place
