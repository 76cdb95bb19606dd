"""Exports as text, and what intake makes of them: alone, and by its own layout."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from analysis.intake import Log, read_exports
from analysis.intake.exports import read_raws
from analysis.intake.layout_file import parse_layout
from analysis.intake.layout_text import to_toml
from analysis.intake.recognise import propose_all
from analysis.policy import Policy

Files = Mapping[str, str]


def write(folder: Path, files: Files) -> list[Path]:
    """Write an export; names that end in .txt are UTF-16, as tab-separated files."""
    for name, text in files.items():
        code = "utf-16" if name.endswith(".txt") else "utf-8"
        (folder / name).write_bytes(text.encode(code))
    return [folder / name for name in files]


def read(folder: Path, files: Files, layout: str = "") -> Log:
    """Read an export, by a layout's text if there is one."""
    paths = write(folder, files)
    given = parse_layout(layout, "layout") if layout else None
    return read_exports(paths, Policy.example(), given)


def printed(paths: Sequence[Path]) -> str:
    """Give the layout that is proposed for an export, as it is printed."""
    return to_toml(propose_all(read_raws(paths)))


def cells(frame: pd.DataFrame, names: Sequence[str]) -> list[str]:
    """Give rows as text: times local, numbers as short as they are, blanks empty."""
    shown = {}
    for name in names:
        column = frame[name]
        if isinstance(column.dtype, pd.DatetimeTZDtype):
            shown[name] = column.dt.strftime("%Y-%m-%d %H:%M").astype("str")
        elif pd.api.types.is_numeric_dtype(column):
            shown[name] = column.map("{:g}".format)
        else:
            shown[name] = column.astype("str")
    text = pd.DataFrame(shown).replace("nan", "").fillna("")
    return text.agg(" | ".join, axis=1).tolist()


def assert_read(folder: Path, files: Files, names: str, wanted: Sequence[str]) -> None:
    """Read an export without a layout, and by the one proposed; compare its checks."""
    for layout in ("", printed(write(folder, files))):
        log = read(folder, files, layout)
        assert sorted(cells(log.checks, names.split())) == sorted(wanted)
