"""The house style: black on white, told apart by shape and line and not by colour."""

import base64
import io
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any, Literal

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import findfont, get_font

from analysis.figures.light import lightened

INK = "#111111"
SOFT = "#5a5a5a"
FAINT = "#c9c9c9"
SHADE = "#ececec"
SHADE_DARK = "#d8d8d8"

#: Stands for a letter that the font of the figures does not have.
_NO_LETTER = "\N{REPLACEMENT CHARACTER}"

_HOUSE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 8.0,
    # A dollar sign in a name of a ward is a dollar sign.
    "text.parse_math": False,
    "axes.titlesize": 8.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 8.0,
    "axes.labelcolor": INK,
    "axes.edgecolor": SOFT,
    "axes.linewidth": 0.7,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.grid": False,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "lines.linewidth": 1.1,
    "hatch.linewidth": 0.5,
    "legend.frameon": False,
    "legend.fontsize": 7.5,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    # Letters as text: as outlines they are most of a report of many plots.
    "svg.fonttype": "none",
    "svg.hashsalt": "steadyfall",
}


@contextmanager
def house_style() -> Iterator[None]:
    """Draw in the house style; matplotlib's own settings are as before afterwards."""
    with mpl.rc_context(_HOUSE):
        yield


def figure(width: float, height: float, *, is_fitted: bool = True) -> Figure:
    """Give an empty figure that belongs to no window.

    Parameters
    ----------
    width, height : float
        In inches.
    is_fitted : bool
        Fit the axes to their labels. That draws everything twice: where there are many
        pictures of one shape, place the axes by hand.

    Returns
    -------
    Figure
        Without axes.
    """
    layout: Literal["constrained"] | None = "constrained" if is_fitted else None
    drawn = Figure(figsize=(width, height), layout=layout)
    FigureCanvasSVG(drawn)
    return drawn


def emptied(ax: Axes) -> Axes:
    """Take off Axes all that was drawn on them, so that they can be drawn on again.

    New ones take a third of the time of a plot; where there are hundreds of one shape
    that is felt.

    Parameters
    ----------
    ax : Axes
        With lines, areas, texts and a legend.

    Returns
    -------
    Axes
        The same, as good as new: what is drawn next is the same picture, byte for byte.
    """
    for artist in [*ax.lines, *ax.patches, *ax.texts, *ax.collections]:
        artist.remove()
    ax.containers.clear()
    legend = ax.get_legend()
    if legend is not None:
        legend.remove()
    ax.relim()
    ax.autoscale()
    return ax


def svg_source(drawn: Figure) -> str:
    """Give a figure as the source of an ``img``: SVG in a data address.

    Parameters
    ----------
    drawn : Figure
        Drawn within `house_style`, and still within it, which fixes the identifiers.

    Returns
    -------
    str
        The same text for the same figure, whenever it is made.
    """
    buffer = io.BytesIO()
    nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
    drawn.savefig(buffer, format="svg", metadata=nothing)
    svg = lightened(buffer.getvalue().decode())
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


def drawable(name: str) -> str:
    """Give a name as it can be drawn.

    Parameters
    ----------
    name : str
        Of a ward.

    Returns
    -------
    str
        With one mark for each letter that the font lacks, such as a picture sign.
    """
    known = _known_letters()
    return "".join(sign if ord(sign) in known else _NO_LETTER for sign in name)


@cache
def _known_letters() -> frozenset[int]:
    return frozenset(get_font(findfont(_HOUSE["font.family"])).get_charmap())
