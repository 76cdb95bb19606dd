"""Ordinary controls of a notebook for `analysis.start.steps`."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from html import escape
from os.path import relpath
from pathlib import Path

import ipywidgets as widgets

from analysis.errors import SteadyfallError
from analysis.report.section import Section
from analysis.start.steps import (
    Asked,
    choices_in,
    documents_of,
    make_report,
    months_in,
    row_account,
)

_HINT = (
    "<small>Working lists (review.xlsx) with your decisions: last month's, or a copy "
    "of your own. The one in the report's folder is read anyway.</small>"
)
_NO_LIST = (
    "<small>No working list here: put last month's review.xlsx beside the files of the "
    "log, and run this cell again.</small>"
)

_LAST = "the month that ended last"
_WIDE = widgets.Layout(width="46rem")
_NAMED = {"description_width": "9rem"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """The controls, each of which a person can use in any order.

    Attributes
    ----------
    exports, policy, layout, reviews, month, out : Widget
        What is chosen.
    account, report : Button
        Show the row account; make the report.
    told : HTML
        What came of it.
    box : VBox
        All of them, to be shown.
    """

    exports: widgets.SelectMultiple
    policy: widgets.Dropdown
    layout: widgets.Dropdown
    reviews: widgets.SelectMultiple
    month: widgets.Dropdown
    out: widgets.Text
    account: widgets.Button
    report: widgets.Button
    told: widgets.HTML
    box: widgets.VBox

    def asked(self) -> Asked:
        """Give what is chosen now.

        Returns
        -------
        Asked
            For the functions of `analysis.start.steps`.
        """
        out = self.out.value.strip()
        return Asked(
            exports=tuple(self.exports.value),
            policy_file=self.policy.value,
            layout_file=self.layout.value,
            reviews=tuple(self.reviews.value),
            month=self.month.value,
            out=Path(out) if out else None,
        )

    def rows(self) -> Section:
        """Give the row account of what is chosen now.

        Returns
        -------
        Section
            Shows itself in a notebook.
        """
        return Section("rows", _lines(row_account(self.asked())))

    def show_account(self, _: object = None) -> None:
        """Show what became of every row, and offer the months that the log has.

        Parameters
        ----------
        _ : object
            The button.
        """
        self._say("Reading the export ...")
        asked = replace(self.asked(), month=None)
        self._try(lambda: self._account(asked))

    def make(self, _: object = None) -> None:
        """Make the report and give links to its documents.

        Parameters
        ----------
        _ : object
            The button.
        """
        self._try(lambda: _links(make_report(self.asked(), self._say)))

    def _account(self, asked: Asked) -> str:
        chosen = self.month.value
        months = months_in(asked)
        self.month.options = [(_LAST, None), *((month, month) for month in months)]
        self.month.value = chosen if chosen in months else None
        return _lines(row_account(asked))

    def _say(self, words: str) -> None:
        self.told.value = f"<p role='status'>{escape(words)}</p>"

    def _try(self, work: Callable[[], str]) -> None:
        """Do it with the buttons off; what cannot be used is told in one sentence."""
        for button in (self.account, self.report):
            button.disabled = True
        try:
            self.told.value = work()
        except (SteadyfallError, OSError) as error:
            self.told.value = _refusal(str(error))
        finally:
            for button in (self.account, self.report):
                button.disabled = False


def panel(folder: Path | str = ".") -> Panel:
    """Make the controls for the files of a folder.

    Parameters
    ----------
    folder : Path or str
        Folder of the exports, policies and layouts; without an export in it, the demo
        log of an invented health service is offered.

    Returns
    -------
    Panel
        Everything chosen beforehand that can be.
    """
    found = choices_in(folder)
    exports = widgets.SelectMultiple(
        options=_named(found.exports),
        value=found.exports,
        rows=min(max(len(found.exports), 3), 10),
        description="Files of the log",
        style=_NAMED,
        layout=_WIDE,
    )
    policy = _dropdown("Policy", "the shipped example", found.policies)
    policy.value = found.policies[0] if found.policies else None
    layout = _dropdown("Layout", "none: the columns are recognised", found.layouts)
    reviews = widgets.SelectMultiple(
        options=[(_with_folder(path), path) for path in found.reviews],
        rows=min(max(len(found.reviews), 2), 5),
        description="Lists filled in",
        style=_NAMED,
        layout=_WIDE,
    )
    month = _dropdown("Month", _LAST, ())
    out = widgets.Text(
        placeholder="reports/<month>",
        description="Folder of the report",
        style=_NAMED,
        layout=_WIDE,
    )
    account = widgets.Button(description="1  Show the row account", layout=_button())
    report = widgets.Button(description="2  Make the report", layout=_button())
    told = widgets.HTML()
    hint = widgets.HTML(_HINT if found.reviews else _NO_LIST)
    rows = [exports, policy, layout, reviews, hint, month, out]
    rows += [widgets.HBox([account, report]), told]
    made = Panel(
        exports=exports,
        policy=policy,
        layout=layout,
        reviews=reviews,
        month=month,
        out=out,
        account=account,
        report=report,
        told=told,
        box=widgets.VBox(rows),
    )
    account.on_click(made.show_account)
    report.on_click(made.make)
    return made


def _button() -> widgets.Layout:
    return widgets.Layout(width="15rem")


def _dropdown(name: str, none: str, paths: Sequence[Path]) -> widgets.Dropdown:
    return widgets.Dropdown(
        options=[(none, None), *_named(paths)],
        description=name,
        style=_NAMED,
        layout=_WIDE,
    )


def _with_folder(path: Path) -> str:
    # Every report's list has the same name: its folder tells them apart.
    return path.name if path.parent.name == "" else f"{path.parent.name}/{path.name}"


def _named(paths: Sequence[Path]) -> list[tuple[str, Path]]:
    return [(path.name, path) for path in paths]


def _lines(lines: Sequence[str]) -> str:
    return f"<pre>{escape(chr(10).join(lines))}</pre>"


def _refusal(words: str) -> str:
    # Several points stand on lines of their own.
    text = escape(words).replace("\n", "<br>")
    return f"<p role='alert'><b>{text}</b></p>"


def _links(page: Path) -> str:
    items = "".join(
        f'<li><a href="{escape(Path(relpath(path)).as_posix())}" target="_blank">'
        f"{escape(path.name)}</a></li>"
        for path in documents_of(page)
    )
    return f"<p role='status'>Made: {escape(str(page.parent))}</p><ul>{items}</ul>"
