"""Parts of a result to Axes in one house style, and to pictures inside a page."""

from analysis.figures.delivery import delivery_alt, delivery_line
from analysis.figures.style import figure, house_style, svg_source
from analysis.figures.wards import DotRow, ward_alt, ward_dots

__all__ = [
    "DotRow",
    "delivery_alt",
    "delivery_line",
    "figure",
    "house_style",
    "svg_source",
    "ward_alt",
    "ward_dots",
]
