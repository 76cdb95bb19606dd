"""A part of the report as HTML, and the templates it is made with.

Text of a log reaches HTML through jinja2 with escaping on, and in no other way.
"""

from dataclasses import dataclass, field

from jinja2 import Environment, PackageLoader, StrictUndefined

_pages = Environment(
    loader=PackageLoader("analysis.report", "templates"),
    autoescape=True,
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
