"""The limits of an audit: one TOML file, read strictly, printed in every report.

No limit has a default in code. What is not in the file is an error; what is in the file
and not known here is an error too, so that the policy on paper is the one applied.
Constants of the statistical model are not limits and stand with the model.
"""

import difflib
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields
from functools import cache
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from analysis.errors import PolicyError
from analysis.terms import RemovalReason, SiteSign

NO_RULE = "none"

#: Path of the shipped example, where no file of a policy was given.
_EXAMPLE_PATH = "example policy"


def _number(low: float, high: float) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        if isinstance(value, bool) or not isinstance(value, int | float):
            return "a plain number, without a unit"
        return "" if low <= value <= high else f"a number from {low:g} to {high:g}"

    return check


def _whole(low: int) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        good = isinstance(value, int) and not isinstance(value, bool) and value >= low
        return "" if good else f"a whole number, {low} or more"

    return check


def _words(allowed: set[str]) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        good = (
            isinstance(value, list)
            and all(isinstance(word, str) and word in allowed for word in value)
            and len(set(value)) == len(value)
        )
        return (
            ""
            if good
            else "a list of different words out of: " + ", ".join(sorted(allowed))
        )

    return check


def _or_none(check: Callable[[Any], str]) -> Callable[[Any], str]:
    def check_or_none(value: Any) -> str:
        wanted = check(value)
        return f'{wanted}, or "{NO_RULE}"' if wanted and value != NO_RULE else ""

    return check_or_none


def _zone(value: Any) -> str:
    wanted = 'an IANA time zone name such as "Europe/London"'
    if not isinstance(value, str):
        return wanted
    try:
        ZoneInfo(value)
    except (OSError, ValueError, KeyError):  # not a zone file, unsafe path, unknown
        return wanted
    return ""


def _graces(value: Any) -> str:
    one = _number(0, 24)
    good = (
        isinstance(value, list)
        and not any(one(v) for v in value)
        and len(set(value)) == len(value)
    )
    return "" if good else "a list of different hours, each a plain number from 0 to 24"


def _windows(value: Any) -> str:
    wanted = "a list of [syringe size, lowest, highest] in mL, lowest first"
    if not isinstance(value, list):
        return wanted
    one = _number(0, 100)
    for row in value:
        if not isinstance(row, list) or len(row) != 3 or any(one(v) for v in row):
            return wanted
        if not row[1] <= row[2] <= row[0]:
            return wanted
    sizes = [row[0] for row in value]
    return "" if len(set(sizes)) == len(sizes) else "one window a syringe size"


def _yes_or_no(value: Any) -> str:
    return "" if value in ("yes", "no") else '"yes" or "no"'


_SIGNS = {str(sign) for sign in SiteSign if sign is not SiteSign.NONE}

_CHECKS: Mapping[str, Callable[[Any], str]] = {
    "time_zone": _zone,
    "check_interval_h": _number(0.25, 168),
    "grace_h": _number(0, 24),
    "grace_also_h": _graces,
    "missed_after_h": _number(0, 168),
    "extension_set_life_h": _number(1, 1000),
    "extension_set_grace_h": _number(0, 168),
    "site_life_h": _or_none(_number(1, 1000)),
    "site_grace_h": _number(0, 168),
    "planned_duration_h": _number(0.5, 72),
    "first_check_h": _or_none(_number(0.1, 24)),
    "flow_accuracy_pct": _number(0.1, 50),
    "set_rate_tolerance_pct": _number(0, 50),
    "start_volume_window_ml": _windows,
    "reaction_signs": _words(_SIGNS),
    "minor_signs": _words(_SIGNS),
    "minor_signs_needed": _whole(1),
    "reaction_removal_reasons": _words({str(reason) for reason in RemovalReason}),
    "smallest_group_patients": _whole(1),
    "smallest_group_units": _whole(1),
    "false_flags_per_1000": _number(0.01, 1000),
    "other_evidence": _yes_or_no,
}

#: Limits a ward may set for itself, and whether it may say there is no such rule.
_WARD_LIMITS: Mapping[str, bool] = {
    "check_interval_h": True,
    "grace_h": False,
    "missed_after_h": False,
    "extension_set_life_h": True,
    "extension_set_grace_h": False,
    "site_life_h": True,
    "site_grace_h": False,
    "planned_duration_h": False,
    "first_check_h": True,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """The limits of an audit; the unit stands at the end of each name.

    Attributes
    ----------
    name : str
        What the policy calls itself.
    path : str
        File name it was read from.
    text : str
        The TOML it was read from, kept for the record.
    is_example : bool
        True for the example shipped with the package: local policy decides.
    set_by : mapping of str to str
        Who set each limit.
    wards : mapping of str to mapping
        Limits that single wards set for themselves; ``None`` is "no rule set".
    """

    name: str
    path: str
    text: str
    is_example: bool
    time_zone: str
    check_interval_h: float
    grace_h: float
    grace_also_h: tuple[float, ...]
    missed_after_h: float
    extension_set_life_h: float
    extension_set_grace_h: float
    site_life_h: float | None
    site_grace_h: float
    planned_duration_h: float
    first_check_h: float | None
    flow_accuracy_pct: float
    set_rate_tolerance_pct: float
    start_volume_window_ml: tuple[tuple[float, float, float], ...]
    reaction_signs: tuple[str, ...]
    minor_signs: tuple[str, ...]
    minor_signs_needed: int
    reaction_removal_reasons: tuple[str, ...]
    smallest_group_patients: int
    smallest_group_units: int
    false_flags_per_1000: float
    other_evidence: str
    set_by: Mapping[str, str]
    wards: Mapping[str, Mapping[str, float | str | None]]

    @classmethod
    def load(cls, path: Path) -> "Policy":
        """Read a policy file.

        Parameters
        ----------
        path : Path
            A TOML file in UTF-8.

        Returns
        -------
        Policy
            Complete and exact.

        Raises
        ------
        PolicyError
            The file is missing, is not TOML, or a key is unknown, missing, of the wrong
            unit or type, or inverted. All faults are named together, by file and key.
        """
        if path.exists() and not path.is_file():  # to read a pipe may wait for ever
            msg = (
                f"{path}: is a folder, a pipe or a device, and no file; save the policy"
            )
            raise PolicyError(f"{msg} to a file and name that")
        try:
            text = path.read_text(encoding="utf-8-sig")
        except FileNotFoundError:
            raise PolicyError(f"{path}: no such policy file") from None
        except (OSError, UnicodeDecodeError):
            msg = f"{path}: cannot be read as a text file; a policy is UTF-8 TOML"
            raise PolicyError(msg) from None
        return cls.parse(text, path.name, is_example=text == example_text())

    @classmethod
    def example(cls) -> "Policy":
        """Give the example policy shipped with the package.

        Returns
        -------
        Policy
            Marked as the example.
        """
        return cls.parse(example_text(), _EXAMPLE_PATH, is_example=True)

    @classmethod
    def parse(cls, text: str, path: str, *, is_example: bool = False) -> "Policy":
        """Read a policy from TOML text.

        Parameters
        ----------
        text : str
            TOML.
        path : str
            Name of the file in messages.
        is_example : bool
            The text is that of the shipped example.

        Returns
        -------
        Policy
            Complete and exact.

        Raises
        ------
        PolicyError
            As for `load`.
        """
        try:
            raw = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise PolicyError(f"{path}: not valid TOML: {error}") from None
        values, set_by, faults = _read_entries(raw)
        wards = _read_wards(raw.get("wards", {}), faults)
        if not faults:
            faults = _contradictions(values, wards)
        if faults:
            line = " ".join(f"{path}: {'; '.join(faults)}".split())
            raise PolicyError(line)
        return cls(
            path=path,
            text=text,
            is_example=is_example,
            set_by=MappingProxyType(set_by),
            wards=MappingProxyType(wards),
            **{key: _frozen(value) for key, value in values.items()},
        )

    def __reduce__(self) -> tuple[Any, ...]:
        """Travel to another process, where mappings are made read-only again."""
        values = {field.name: getattr(self, field.name) for field in fields(self)}
        values["set_by"] = dict(self.set_by)
        values["wards"] = {name: dict(own) for name, own in self.wards.items()}
        return _travelled, (values,)

    @property
    def is_unedited_copy(self) -> bool:
        """True for a file that was given and is the shipped example as it stands.

        Returns
        -------
        bool
            False for the example itself, and for any other policy.
        """
        return self.is_example and self.path != _EXAMPLE_PATH

    @property
    def whose(self) -> str:
        """Say in a sentence whose limits these are, where nobody's own were given.

        Returns
        -------
        str
            Empty for a policy that differs from the shipped example.
        """
        if not self.is_example:
            return ""
        if not self.is_unedited_copy:
            return (
                "The shipped example policy was used: local policy decides (write your "
                "own limits with `steadyfall policy > policy.toml`, and give it with "
                "--policy policy.toml)."
            )
        return (
            f"{self.path} is an unedited copy of the shipped example policy: local "
            "policy decides (write your service's limits into it, and who set them)."
        )

    @property
    def zone(self) -> ZoneInfo:
        """Time zone of times written without an offset.

        Returns
        -------
        ZoneInfo
            From the IANA database.
        """
        return ZoneInfo(self.time_zone)

    def without_rows(self, wards: Iterable[str]) -> tuple[str, ...]:
        """Tell of wards that have limits of their own and no row in the log.

        Parameters
        ----------
        wards : iterable of str
            Wards of the log.

        Returns
        -------
        tuple of str
            One sentence, or none: such a ward is often one spelled another way.
        """
        there = sorted(set(wards))
        unknown = [f"'{ward}'" for ward in self.wards if ward not in there]
        if not unknown:
            return ()
        return (
            f"The policy sets limits for {', '.join(unknown)}, which the log does not "
            f"name and to which they were applied nowhere; its wards are "
            f"{', '.join(there)}. Compare the spelling.",
        )

    def by_ward(self, limit: str, wards: pd.Series) -> pd.Series:
        """Give one limit for each row, from the row's own ward.

        Parameters
        ----------
        limit : str
            Name of a numeric limit.
        wards : Series of str
            Ward of each row.

        Returns
        -------
        Series of float
            On the index of `wards`; NaN where the ward has no such rule.
        """
        general = getattr(self, limit)
        general = np.nan if general is None else general
        own = {
            ward: np.nan if limits[limit] is None else limits[limit]
            for ward, limits in self.wards.items()
            if limit in limits
        }
        if not own:
            return pd.Series(float(general), index=wards.index)
        found = {ward: own.get(ward, general) for ward in wards.unique()}
        return wards.map(found).astype("float64")

    def entries(self) -> pd.DataFrame:
        """List every limit in force, as text.

        Returns
        -------
        DataFrame
            Columns ward, limit, value, set_by; general limits first.
        """
        rows = [
            ("all wards", key, _spoken(getattr(self, key)), self.set_by[key])
            for key in _CHECKS
        ]
        for ward, limits in self.wards.items():
            rows += [
                (ward, key, _spoken(value), str(limits["set_by"]))
                for key, value in limits.items()
                if key != "set_by"
            ]
        return pd.DataFrame(rows, columns=["ward", "limit", "value", "set_by"])


@cache
def example_text() -> str:
    """Give the example policy, to start from.

    Returns
    -------
    str
        Text of a TOML file.
    """
    return (
        resources.files("analysis").joinpath("example_policy.toml").read_text("utf-8")
    )


def _frozen(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_frozen(item) for item in value)
    return value


def _spoken(value: Any) -> str:
    if value is None:
        return "no rule set"
    if isinstance(value, tuple) and value and isinstance(value[0], tuple):
        return "; ".join(
            f"{size:g} mL syringe: {low:g} to {high:g} mL" for size, low, high in value
        )
    if isinstance(value, tuple):
        return ", ".join(_spoken(item) for item in value) or "none"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _near(key: str, known: Mapping[str, Any]) -> str:
    close = difflib.get_close_matches(key, list(known), n=1)
    return f" (did you mean {close[0]}?)" if close else ""


def _read_entries(
    raw: Mapping[str, Any],
) -> tuple[dict[str, Any], dict[str, str], list[str]]:
    """Take the general limits out of the file, and name what is wrong with them."""
    values: dict[str, Any] = {}
    set_by: dict[str, str] = {}
    faults = [
        f"unknown key {key}{_near(key, _CHECKS)}"
        for key in raw
        if key not in _CHECKS and key not in {"name", "wards"}
    ]
    if isinstance(raw.get("name"), str) and raw["name"].strip():
        values["name"] = raw["name"].strip()
    else:
        faults.append("name: missing; give the policy a name")
    for key, check in _CHECKS.items():
        if key not in raw:
            faults.append(f"missing key {key}")
            continue
        entry = raw[key]
        if not isinstance(entry, dict) or set(entry) != {"value", "set_by"}:
            faults.append(
                f'{key}: write it as {{ value = ..., set_by = "who set it" }} '
                "and nothing else"
            )
            continue
        wanted = check(entry["value"])
        if wanted:
            faults.append(f"{key}: found {entry['value']!r}, wanted {wanted}")
        if not isinstance(entry["set_by"], str) or not entry["set_by"].strip():
            faults.append(f"{key}: set_by must say who set it")
        values[key], set_by[key] = _floated(key, entry["value"]), str(entry["set_by"])
    return values, set_by, faults


def _floated(key: str, value: Any) -> Any:
    whole = key in {
        "minor_signs_needed",
        "smallest_group_patients",
        "smallest_group_units",
    }
    if value == NO_RULE:
        return None
    return float(value) if isinstance(value, int) and not whole else value


def _read_wards(raw: Any, faults: list[str]) -> dict[str, Mapping[str, Any]]:
    """Take the wards' own limits; adds what is wrong to `faults`."""
    wards: dict[str, Mapping[str, Any]] = {}
    if not isinstance(raw, dict):
        faults.append('wards: write a ward as [wards."Name of the ward"]')
        return wards
    for ward, limits in raw.items():
        where = f'wards."{ward}"'
        if not isinstance(limits, dict):
            faults.append(f"{where}: write it as a table, [{where}]")
            continue
        if not str(limits.get("set_by", "")).strip():
            faults.append(f"{where}: set_by must say who set its limits")
        wards[ward] = MappingProxyType(_read_ward(where, limits, faults))
    return wards


def _travelled(values: dict[str, Any]) -> Policy:
    wards = {name: MappingProxyType(own) for name, own in values["wards"].items()}
    proxies = {
        "set_by": MappingProxyType(values["set_by"]),
        "wards": MappingProxyType(wards),
    }
    return Policy(**values | proxies)


def _read_ward(
    where: str, limits: Mapping[str, Any], faults: list[str]
) -> dict[str, Any]:
    own: dict[str, Any] = {"set_by": str(limits.get("set_by", ""))}
    for key, value in limits.items():
        if key == "set_by":
            continue
        if key not in _WARD_LIMITS:
            faults.append(f"{where}: a ward cannot set {key}{_near(key, _WARD_LIMITS)}")
        elif value == NO_RULE and _WARD_LIMITS[key]:
            own[key] = None
        elif wanted := _CHECKS[key](value):
            faults.append(f"{where}.{key}: found {value!r}, wanted {wanted}")
        else:
            own[key] = float(value)
    return own


def _contradictions(
    values: Mapping[str, Any], wards: Mapping[str, Mapping[str, Any]]
) -> list[str]:
    """Name limits that cannot both be meant."""
    faults = []
    for where, own in [
        ("", {}),
        *((f'wards."{ward}": ', w) for ward, w in wards.items()),
    ]:
        limits = {**values, **own}
        interval, grace = limits["check_interval_h"], limits["grace_h"]
        if interval is not None and grace >= interval:
            faults.append(
                f"{where}grace_h: {grace:g} h is not shorter than "
                f"check_interval_h, {interval:g} h"
            )
        if limits["missed_after_h"] < grace:
            faults.append(
                f"{where}missed_after_h: {limits['missed_after_h']:g} h is shorter "
                f"than grace_h, {grace:g} h"
            )
    longest = max(values["grace_also_h"], default=0.0)
    if longest >= values["check_interval_h"]:
        faults.append(
            f"grace_also_h: {longest:g} h is not shorter than check_interval_h, "
            f"{values['check_interval_h']:g} h"
        )
    both = set(values["reaction_signs"]) & set(values["minor_signs"])
    if both:
        faults.append(
            f"minor_signs: {', '.join(sorted(both))} stands in reaction_signs too"
        )
    return faults
