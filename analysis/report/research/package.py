"""The dictionary of an extract as a data package: JSON that other programs read too.

Data Package and Table Schema of the Frictionless standards, version 1.
"""

import json
from pathlib import Path
from typing import Any, Final

from analysis.columns import Column, Kind, Table
from analysis.report.manifest import sha256
from analysis.report.research.words import linkage_words
from analysis.research.columns import EXTRACT
from analysis.research.extract import STANDING, Extract

FILE: Final = "datapackage.json"

_TYPES: Final = {Kind.NUMBER: "number", Kind.COUNT: "integer"}
_KEYS: Final = {"sites": ["site"], "periods": ["site", "from_h"]}


def write_package(extract: Extract, folder: Path) -> None:
    """Write ``datapackage.json`` beside the tables of an extract.

    Parameters
    ----------
    extract : Extract
        What was written.
    folder : Path
        Folder of its tables, which are there already.
    """
    content = {
        "profile": "tabular-data-package",
        "name": "site-reactions",
        "title": "Cannula sites and site reactions, " + STANDING,
        "description": (
            f"A {STANDING}. Patients and sites stand under a keyed hash; times are "
            "hours since the placement; ward, location and drugs, and apart from them "
            "material and diluent, are written as other until every combination has "
            f"at least {extract.least} patients. "
            + " ".join(
                linkage_words(
                    extract.linkage, extract.least, whole_days=extract.whole_days
                )
            )
        ),
        "resources": [
            _resource(table, folder, whole_days=extract.whole_days) for table in EXTRACT
        ],
    }
    text = json.dumps(content, indent=2, ensure_ascii=False)
    (folder / FILE).write_text(text + "\n", encoding="utf-8", newline="\n")


def _resource(table: Table, folder: Path, *, whole_days: bool) -> dict[str, Any]:
    path = folder / f"{table.name}.csv"
    schema: dict[str, Any] = {
        "fields": [_field(column, table) for column in table.columns],
        "missingValues": [""],
        "primaryKey": _KEYS[table.name],
    }
    if table.name == "periods":
        if whole_days:  # two syringes of one site may begin on the same day
            del schema["primaryKey"]
        schema["foreignKeys"] = [
            {"fields": ["site"], "reference": {"resource": "sites", "fields": ["site"]}}
        ]
    return {
        "profile": "tabular-data-resource",
        "name": table.name,
        "title": table.row,
        "path": path.name,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": path.stat().st_size,
        "hash": f"sha256:{sha256(path)}",
        "dialect": {"delimiter": ",", "lineTerminator": "\n", "doubleQuote": True},
        "schema": schema,
    }


def _field(column: Column, table: Table) -> dict[str, Any]:
    field: dict[str, Any] = {
        "name": column.name,
        "type": _TYPES.get(column.kind, "string"),
        "description": column.meaning + (f" [{column.unit}]" if column.unit else ""),
    }
    constraints: dict[str, Any] = {}
    if column.choices:
        constraints["enum"] = list(column.choices)
    if column.name in _KEYS[table.name]:
        constraints["required"] = True
    if constraints:
        field["constraints"] = constraints
    return field
