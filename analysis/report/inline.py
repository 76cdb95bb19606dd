"""What stands inside a page: its style, its one script, and what a browser may run.

The policy in the page's head names the script by its hash. Whatever text a log holds, a
browser runs nothing else, fetches nothing and sends nothing.
"""

import base64
import hashlib
from dataclasses import dataclass
from importlib import resources

from markupsafe import Markup

_TEMPLATES = resources.files("analysis.report") / "templates"


@dataclass(frozen=True, slots=True, kw_only=True)
class Inline:
    """Parts of a page that are ours, as they stand in it.

    Attributes
    ----------
    style : Markup
        Style sheet.
    script : Markup
        Sorting and filtering of long tables; empty for a page without a script.
    policy : str
        Content security policy of the page.
    """

    style: Markup
    script: Markup
    policy: str


def inline(*, with_script: bool, style: str = "") -> Inline:
    """Give the parts of a page that are ours.

    Parameters
    ----------
    with_script : bool
        False for a page whose tables are not to be sorted.
    style : str
        File of the page's own style, beside that of all pages; empty for none.

    Returns
    -------
    Inline
        The policy allows these parts, by their hashes, and images in the page.
    """
    sheet = _text("report.css") + (_text(style) if style else "")
    script = _text("report.js") if with_script else ""
    may_run = _hashed(script) if script else "'none'"
    policy = (
        f"default-src 'none'; style-src {_hashed(sheet)}; script-src {may_run}; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )
    # Files of this package, and no text of a log.
    return Inline(style=Markup(sheet), script=Markup(script), policy=policy)  # noqa: S704


def _text(name: str) -> str:
    return "\n" + (_TEMPLATES / name).read_text(encoding="utf-8")


def _hashed(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"
