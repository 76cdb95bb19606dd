"""A proposed layout as TOML: every entry with why it is so, and what is open marked."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import fields

from analysis.intake.layout import OPEN, TableLayout
from analysis.intake.proposal import Proposal, Question

_TOP = """\
# A layout: how this export maps to the tables of `steadyfall dictionary`.
# Printed from the files named below; look it over, answer every "?", save it, and give
# it with --layout. A table is told by the headers named here, not by its file name.
# zone = "Europe/London"  # time zone of times without an offset; else the policy's
"""

#: Entries written in this order; what is empty is left out.
_ORDER = (
    "date_order",
    "clock",
    "decimal",
    "not_recorded",
    "fill_down",
    "ditto",
    "not_rows",
    "contents_of",
    "encoding",
    "delimiter",
    "quote",
    "columns",
    "signs_of",
    "items",
    "constants",
    "units",
    "digits",
    "words",
)


def to_toml(proposals: Sequence[Proposal]) -> str:
    """Write proposals as one layout.

    Parameters
    ----------
    proposals : sequence of Proposal
        One a table; tables that are mapped alike are written once.

    Returns
    -------
    str
        TOML that `parse_layout` reads; a question that is open stands as ``"?"``.
    """
    parts = [_TOP]
    written: list[TableLayout] = []
    for proposal in proposals:
        if proposal.table in written:
            parts.append(f"# {proposal.file}: mapped like the table above\n")
            continue
        written.append(proposal.table)
        parts.append(_table(proposal))
    return "\n".join(parts)


def _table(proposal: Proposal) -> str:
    lines = [f"# {proposal.file}"]
    lines += [_comment(q) for q in proposal.questions]
    if proposal.unused:
        lines.append(f"# read and not used: {', '.join(proposal.unused)}")
    if "items" in proposal.evidence:
        lines.append(f"# items {proposal.evidence['items']}")
    lines += ["[[table]]", f"holds = {_text(proposal.table.holds)}"]
    known = {f.name for f in fields(TableLayout)}
    for name in (n for n in _ORDER if n in known):
        value = getattr(proposal.table, name)
        if value:
            lines += _entry(name, value, proposal.evidence)
    return "\n".join(lines) + "\n"


def _comment(question: Question) -> str:
    mark = "SETTLE" if question.blocks else "check"
    return f"# {mark} {question.entry}: {_one_line(question.text)}"


def _entry(name: str, value: object, evidence: Mapping[str, str]) -> list[str]:
    if isinstance(value, Mapping):
        if all(isinstance(v, Mapping) for v in value.values()):
            return [
                line
                for key, words in value.items()
                for line in [f"[table.{name}.{_key(key)}]", *_pairs(words, "", {})]
            ]
        return [f"[table.{name}]", *_pairs(value, f"{name}.", evidence)]
    return [f"{name} = {_value(value)}{_why(evidence.get(name, ''))}"]


def _pairs(
    table: Mapping[str, object], path: str, evidence: Mapping[str, str]
) -> list[str]:
    return [
        f"{_key(key)} = {_value(value)}{_why(evidence.get(f'{path}{key}', ''))}"
        for key, value in table.items()
    ]


def _why(text: str) -> str:
    return f"  # {_one_line(text)}" if text else ""


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _value(value: object) -> str:
    if isinstance(value, int):
        return str(value)
    if isinstance(value, tuple):
        if len(value) == 1 and isinstance(value[0], str) and value[0] != OPEN:
            return _text(value[0])
        return f"[{', '.join(_value(v) for v in value)}]"
    return _text(str(value))


def _text(text: str) -> str:
    # A basic string of TOML takes the escapes of JSON; DEL is the one that differs.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(key: str) -> str:
    is_bare = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return key if is_bare else _text(key)
