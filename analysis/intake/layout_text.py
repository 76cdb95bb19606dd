"""A proposed layout as TOML: every entry with why it is so, and what is open marked."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

from analysis.intake.hidden import SKIP
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
    alike: dict[str, list[Proposal]] = {}
    for proposal in (p for p in proposals if not p.is_beside):
        alike.setdefault(_mapping(proposal.table), []).append(proposal)
    skipped = tuple(p.file.partition("!")[2] for p in proposals if p.is_beside)
    if any(q.entry == SKIP for p in proposals for q in p.questions):
        skipped = (*skipped, OPEN)
    top = _TOP + f"skip_sheets = {_value(skipped)}\n" if skipped else _TOP
    return "\n".join([top, *(_table(_merged(group)) for group in alike.values())])


def _mapping(table: TableLayout) -> str:
    """Give what tells a table from others in a layout: its kind and its headers."""
    return repr((table.holds, table.columns, table.signs_of, table.contents_of))


def _merged(group: Sequence[Proposal]) -> Proposal:
    """Make one of the proposals for tables with the same headers.

    What they say differently, and a layout can say once only, is left open.
    """
    first = group[0]
    if not group[1:]:
        return first
    changes: dict[str, Any] = {
        f.name: _agreed([getattr(p.table, f.name) for p in group])
        for f in fields(TableLayout)
        if f.name not in ("holds", "columns", "signs_of", "contents_of")
    }
    decimals = {p.table.decimal for p in group if _shows_decimal(p)}
    if len(decimals) == 1:
        changes["decimal"] = decimals.pop()
    evidence = {k: v for p in reversed(group) for k, v in p.evidence.items()}
    questions = {(q.entry, q.text): q for p in group for q in p.questions}
    return replace(
        first,
        file=", ".join(p.file for p in group),
        table=replace(first.table, **changes),
        evidence=evidence,
        questions=tuple(questions.values()),
        unused=tuple(dict.fromkeys(h for p in group for h in p.unused)),
    )


def _shows_decimal(proposal: Proposal) -> bool:
    return not proposal.evidence.get("decimal", "").startswith("no number")


def _agreed(values: Sequence[Any]) -> Any:
    """Give what all say, what one says where others are silent, or an open question."""
    if isinstance(values[0], Mapping):
        names = dict.fromkeys(name for value in values for name in value)
        return {n: _agreed([v[n] for v in values if n in v]) for n in names}
    if isinstance(values[0], tuple):
        return tuple(dict.fromkeys(item for value in values for item in value))
    said = list(dict.fromkeys(v for v in values if v not in ("", "ymd")))
    if not said:
        return next((v for v in values if v), "")
    return said[0] if len(said) == 1 else OPEN


def _opened(proposal: Proposal) -> Proposal:
    """Put a question mark where something must be settled; the likeliest beside it.

    A layout that is used without being read must not settle it.
    """
    table, evidence = proposal.table, dict(proposal.evidence)
    for q in (q for q in proposal.questions if q.blocks):
        name = q.entry.removeprefix("columns.")
        headers = table.columns.get(name, ())
        if q.entry == "clock" and table.clock:
            evidence["clock"] = f"perhaps {table.clock}"
            table = replace(table, clock=OPEN)
        elif q.entry != name and headers and OPEN not in headers:
            evidence[q.entry] = f"perhaps {_value(headers)}"
            table = replace(table, columns={**table.columns, name: (OPEN,)})
    return replace(proposal, table=table, evidence=evidence)


def _table(proposal: Proposal) -> str:
    proposal = _opened(proposal)
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
