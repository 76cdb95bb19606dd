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
        pytest.param("sl. red", ["redness"], id="a full stop of a word cut short"),
        pytest.param("not red, a bit swollen", ["swelling"], id="a denial and a sign"),
        pytest.param("No pain. Red.", ["redness"], id="a denial ends at a full stop"),
        pytest.param("no pain - red", ["redness"], id="a denial ends at a dash"),
        pytest.param("no pain (red)", ["redness"], id="a denial ends at a bracket"),
        pytest.param("Not sore. Slight redness", ["redness"], id="another sentence"),
        pytest.param(
            "no redness/swelling", ["none"], id="a stroke joins what is denied"
        ),
        pytest.param("clean, slight redness", ["redness"], id="clean, and yet red"),
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
        pytest.param("not swollen still red", id="two words under one denial"),
        pytest.param(
            "not sore just a little red", id="a denial goes on who knows where"
        ),
        pytest.param("not intact", id="health that is denied is no sign"),
        pytest.param("not dry", id="not dry may be a leak"),
        pytest.param("redness resolved", id="a sign that is gone"),
        pytest.param("clear of redness", id="a sign that is not there"),
        pytest.param("no change", id="no change from what"),
    ],
)
def test_site_words_are_not_guessed(cell: str) -> None:
    known, unknown = site_words.site_signs(cell, {})
    assert not known
    assert unknown


@pytest.mark.parametrize(
    "cell",
    [
        pytest.param("no redness, swelling, pain", id="a bare list after a denial"),
        pytest.param("not red, swollen", id="a bare word after a denial"),
        pytest.param("no redness and swelling", id="a word joined to a denial"),
        pytest.param("no redness, swelling/pain", id="a bare list with a stroke"),
    ],
)
def test_a_bare_word_behind_a_denial_may_be_denied_too(cell: str) -> None:
    known, unknown = site_words.site_signs(cell, {})
    assert known == ["none"]  # of the part that is denied; the cell is set aside
    assert unknown


def test_a_list_ends_with_its_clause() -> None:
    cell = "no pain, slight redness; damp or wet"
    assert site_words.site_signs(cell, {}) == (["redness", "leakage"], [])


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
