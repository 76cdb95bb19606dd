"""Parts of a result to Axes in one house style, and to pictures inside a page."""

from analysis.figures.curves import (
    Curve,
    RatioRow,
    curve_alt,
    curve_steps,
    ratio_alt,
    ratio_rows,
)
from analysis.figures.delivery import delivery_alt, delivery_line
from analysis.figures.funnel import funnel_alt, funnel_height, ward_funnel
from analysis.figures.hours import hour_alt, hour_bars
from analysis.figures.incident import IncidentCourse, incident_alt, incident_course
from analysis.figures.months import PERCENT, Scale, month_alt, month_line
from analysis.figures.style import emptied, figure, house_style, svg_source
from analysis.figures.wards import DotRow, ward_alt, ward_dots

__all__ = [
    "PERCENT",
    "Curve",
    "DotRow",
    "IncidentCourse",
    "RatioRow",
    "Scale",
    "curve_alt",
    "curve_steps",
    "delivery_alt",
    "delivery_line",
    "emptied",
    "figure",
    "funnel_alt",
    "funnel_height",
    "hour_alt",
    "hour_bars",
    "house_style",
    "incident_alt",
    "incident_course",
    "month_alt",
    "month_line",
    "ratio_alt",
    "ratio_rows",
    "svg_source",
    "ward_alt",
    "ward_dots",
    "ward_funnel",
]
