"""A picture written with fewer letters: the same lines, a sixth of the size.

A report of a busy month holds hundreds of plots. As they come from the drawing library
most of each is outlines of letters, digits far beyond what is seen, and styles said
again at every mark.
"""

import re

#: Where the font of the figures is not installed: the widest of the usual ones first,
#: which is nearest to it.
_FONTS = "'DejaVu Sans',Verdana,Arial,sans-serif"
_FONT = re.compile(r";?font-family:'DejaVu Sans'(?=[;}])")

_TAG = re.compile(r"<[^>]*>")
# A hundredth of a point is less than a printer shows.
_LONG = re.compile(r"-?\d+\.\d{3,}")
_PLACES = re.compile(r' (d|x|y|width|height|transform)="([^"]*)"')
_NO_TURN = re.compile(r' transform="rotate\(-?0 [^"]*"')
_STYLE = re.compile(r' style="([^"]*)"')
_ID = re.compile(r' id="([^"]*)"')
_POINTER = re.compile(r"#([\w-]+)(?=\"|\))")
_BARE_GROUP = re.compile(r"<g>((?:(?!</?g\b).)*)</g>", re.DOTALL)


def lightened(svg: str) -> str:
    """Write a picture with fewer letters.

    Parameters
    ----------
    svg : str
        As matplotlib writes it, with letters as text.

    Returns
    -------
    str
        The same picture, places to a hundredth of a point; texts in it are as they
        were.

    Examples
    --------
    >>> lightened('<svg><g id="a"><path d="M 0 1.23456 L 2 3"/></g></svg>')
    '<svg><path d="M0 1.23L2 3"/></svg>'
    """
    svg = re.sub(r">\s*\n\s*<", "><", svg[svg.index("<svg") :].strip())
    tags = "".join(_TAG.findall(svg))
    pointed = set(_POINTER.findall(tags)) & set(_ID.findall(tags))
    names = {name: f"i{place}" for place, name in enumerate(sorted(pointed))}
    sheet: dict[str, str] = {}
    # Within tags only: what a text says is not ours to change.
    svg = _TAG.sub(lambda tag: _lighter(tag[0], names, sheet), svg)
    while (bare := _BARE_GROUP.sub(r"\1", svg)) != svg:
        svg = bare
    rules = "".join(f".{name}{{{style}}}" for style, name in sheet.items())
    rules = rules.replace(": ", ":").replace("; ", ";")
    rules = _FONT.sub("", rules).replace("{;", "{")
    return svg.replace("</style>", f"text{{font-family:{_FONTS}}}{rules}</style>", 1)


def _lighter(tag: str, names: dict[str, str], sheet: dict[str, str]) -> str:
    """Shorten one tag; each style is said once, in the picture's own sheet."""
    tag = _PLACES.sub(_shorter, _NO_TURN.sub("", tag))
    tag = _ID.sub(lambda m: f' id="{names[m[1]]}"' if m[1] in names else "", tag)
    tag = _POINTER.sub(lambda m: f"#{names.get(m[1], m[1])}", tag)
    return _STYLE.sub(
        lambda m: f' class="{sheet.setdefault(m[1], f"c{len(sheet)}")}"', tag
    )


def _shorter(found: re.Match[str]) -> str:
    name, value = found.groups()
    value = _LONG.sub(lambda number: f"{float(number[0]):.2f}", value)
    if name == "d":
        value = re.sub(r"\s*([A-Za-z])\s*", r"\1", value).strip()
    return f' {name}="{value}"'
