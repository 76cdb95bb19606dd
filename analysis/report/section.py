"""A part of the report as HTML, and the templates it is made with.

Text of a log reaches HTML through jinja2 with escaping on, and in no other way.
"""

import re
from dataclasses import dataclass, field

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

#: Characters that turn the direction of the text after them, and cannot be seen.
_TURNS = re.compile("[\u200e\u200f\u202a-\u202e\u2066-\u2069\u061c]")


def _seen(value: object) -> object:
    """Write out characters that would turn the text of a log around."""
    if not isinstance(value, str) or isinstance(value, Markup) or value.isascii():
        return value
    return _TURNS.sub(lambda found: f"[U+{ord(found[0]):04X}]", value)


_pages = Environment(
    loader=PackageLoader("analysis.report", "templates"),
    autoescape=True,
    finalize=_seen,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a report, ready to be shown."""

    name: str
    html: str = field(repr=False)

    def _repr_html_(self) -> str:
        return self.html


def section(name: str, **facts_of: object) -> Section:
    """Fill the template of a section.

    Parameters
    ----------
    name : str
        Name of the section and of its template.
    **facts_of : object
        What the template shows.

    Returns
    -------
    Section
        Ready to be shown.
    """
    page = _pages.get_template(f"{name}.html.j2")
    return Section(name, page.render(**facts_of))
