"""A log whose text is meant to do harm: in a page, a spreadsheet, a terminal."""

from pathlib import Path
from typing import Any

from tests.tiny import syringe, write_csv

MARKUP = "<script>document.title = 'ran'</script>"
FORMULA = "=cmd|'/C calc'!A0"
#: Begins a formula as well; a name that begins with = is none and is set aside.
PLUS = "+cmd|'/C calc'!A0"
BROKEN_OUT = '-1+1 "><img src=x onerror="document.title=1">'
#: Shown backwards by what obeys it, so that a name seems to be another.
TURNED = "Ward \N{RIGHT-TO-LEFT OVERRIDE}enipal\N{POP DIRECTIONAL FORMATTING}"
PICTURES = "Ward \N{STETHOSCOPE}\N{WOMAN} $x^{2$ & co"
TEMPLATE = "{{ 7 * 7 }}{% raw %}"
WARDS = (MARKUP, PLUS, BROKEN_OUT, TURNED, PICTURES, TEMPLATE)
LONG = "=1+1 " + "long " * 2000
NOTES = (LONG, MARKUP, FORMULA, TURNED, PICTURES, "@SUM(A1)", "+1", "\ttab", "-1")
TURNING = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f"

_HOURS = (0.0, 4.1, 8.0, 12.2, 16.1, 20.0, 23.7)
_PATIENTS = 6


def hostile_log(folder: Path) -> list[Path]:
    """Write it: six wards of six patients, one infusion each, one in six stopped."""
    rows: list[dict[str, Any]] = []
    for place, ward in enumerate(WARDS):
        for number in range(_PATIENTS):
            name = f"{place}{number}"
            stops_at = 8.0 if number == 0 else 24.0
            volumes = {h: round(16.1 - 0.67 * min(h, stops_at), 1) for h in _HOURS}
            rows += syringe(
                volumes,
                start=f"2026-10-{2 + number:02}T{6 + place:02}:17",
                ward=ward,
                patient_id=f"@P{name}",
                infusion_id=f"+I<b>{name}",
                driver_id=f"<i>D{name}",
                site_signs="none" if number else "redness",
                note=NOTES[(place + number) % len(NOTES)],
                action=MARKUP,
                alarm=FORMULA,
            )
    # Two rows that cannot be placed, and a cell that cannot be read.
    rows[3] = {**rows[3], "volume_remaining_ml": MARKUP}
    rows[4] = {**rows[4], "checked_at": FORMULA}
    rows[5] = {**rows[5], "checked_at": f"{PICTURES}{LONG}"}
    return [write_csv(folder / "checks.csv", rows)]
