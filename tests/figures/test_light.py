"""A picture written with fewer letters is the same picture."""

import io
import re
from xml.etree import ElementTree as ET

import pytest

from analysis.figures import figure, house_style
from analysis.figures.light import lightened

SAID = 'a & b <x> style="fill: red" #p1" id="q" (#i0) -->'


@pytest.fixture(scope="module")
def written() -> str:
    with house_style():
        drawn = figure(6, 2.6)
        ax = drawn.add_subplot()
        ax.plot([0, 1.23456], [0, 3], marker="o", label=SAID)
        ax.errorbar([0, 1], [1, 2], yerr=[0.1, 0.2], fmt="none", capsize=2)
        ax.axvspan(0.2, 0.3, hatch="///", facecolor="none")
        ax.set_ylabel("volume, mL")
        ax.text(0.5, 1, "27 Oct\n14:00", ha="center")
        ax.legend()
        buffer = io.BytesIO()
        drawn.savefig(buffer, format="svg")
    return buffer.getvalue().decode()


def parts_of(svg: str) -> list[ET.Element]:
    return list(ET.fromstring(svg).iter())  # noqa: S314 - written two lines above


def shapes(svg: str) -> list[str]:
    """Name every part that is drawn, in order, with the text it holds."""
    drawn = {"path", "use", "text", "rect"}
    tags = ((part.tag.rpartition("}")[2], part.text) for part in parts_of(svg))
    return [f"{tag}: {(text or '').strip()}" for tag, text in tags if tag in drawn]


def test_what_is_drawn_and_said_is_the_same(written: str) -> None:
    light = lightened(written)
    assert shapes(light) == shapes(written)
    assert f"text: {SAID}" in shapes(light)


def test_every_pointer_and_every_class_has_what_it_means(written: str) -> None:
    light = re.sub(r"<text.*?</text>", "", lightened(written))
    ids = set(re.findall(r' id="([^"]+)"', light))
    assert set(re.findall(r'(?:"|\()#([\w-]+)(?="|\))', light)) == ids
    sheet = re.search(r"<style.*?</style>", light)
    assert sheet
    for name in re.findall(r' class="(c\d+)"', light):
        assert f".{name}{{" in sheet[0]
    for rule in re.findall(r"\.c\d+\{(.*?)\}", sheet[0]):
        want = re.sub(r"url\(#.*?\)", "url", rule.replace(":", ": ").replace(";", "; "))
        bare = re.sub(r";? ?font-family: 'DejaVu Sans'", "", written)
        assert want in re.sub(r"url\(#.*?\)", "url", bare)


def test_places_are_kept_to_a_hundredth_of_a_point(written: str) -> None:
    def places(svg: str) -> list[float]:
        return [
            float(number)
            for way in re.findall(r' d="([^"]*)"', svg)
            for number in re.findall(r"-?\d+(?:\.\d+)?", way)
        ]

    assert places(lightened(written)) == pytest.approx(places(written), abs=0.0051)


def test_it_is_less_than_half_as_long(written: str) -> None:
    assert len(lightened(written)) < len(written) / 2
