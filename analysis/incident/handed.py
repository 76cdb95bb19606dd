"""What the notebook of a review hands to the command that runs it.

The exports are read once, in the notebook. What the command must know of them, to name
the folder and to sign the review, comes back among the outputs of a cell.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd
from nbformat import NotebookNode

from analysis.errors import NotebookError
from analysis.incident.review import Incident

#: Kind of the output in which it comes back; a page shows none of that kind.
_KIND = "application/vnd.steadyfall.incident+json"


@dataclass(frozen=True, slots=True)
class WhatWasRead:
    """Which infusion was found, and the account of the files it was found in.

    Attributes
    ----------
    infusion_id : str
        As it stands in the log.
    account : DataFrame
        One row a file, as in `Log`.
    notes : tuple of str
        What had to be settled or assumed.
    """

    infusion_id: str
    account: pd.DataFrame
    notes: tuple[str, ...]

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        files = self.account
        said = ", ".join(
            f"{row['file']}: {row['accepted']:,} of {row['rows_read']:,} rows"
            for row in files.to_dict("records")
        )
        return {
            "text/plain": f"Infusion {self.infusion_id}. Rows accepted: {said}",
            _KIND: {
                "infusion_id": self.infusion_id,
                "account": json.loads(files.to_json(orient="records")),
                "notes": list(self.notes),
            },
        }


def what_was_read(incident: Incident) -> WhatWasRead:
    """Take from a review what the command must know.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    WhatWasRead
        Shown by a notebook as a line of text.
    """
    return WhatWasRead(incident.infusion_id, incident.account, incident.notes)


def handed_back(executed: NotebookNode) -> WhatWasRead:
    """Find what a notebook handed back.

    Parameters
    ----------
    executed : NotebookNode
        With outputs.

    Returns
    -------
    WhatWasRead
        As `what_was_read` gave it.

    Raises
    ------
    NotebookError
        The notebook handed nothing back.
    """
    for cell in executed.cells:
        for output in cell.get("outputs", []):
            told: Mapping[str, Any] | None = output.get("data", {}).get(_KIND)
            if told is not None:
                account = pd.DataFrame(list(told["account"]))
                return WhatWasRead(
                    str(told["infusion_id"]), account, tuple(told["notes"])
                )
    raise NotebookError("the notebook did not say what it read; nothing was published")
