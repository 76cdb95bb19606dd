"""What an export was taken for, in sentences."""

import pytest

from analysis.intake.layout_file import parse_layout
from analysis.intake.recognised import recognised


def told(layout: str) -> str:
    volume = "volume_remaining_ml = 'volume_remaining_ml'"
    layout = layout.replace("columns]\n", f"columns]\n{volume}\n")
    [table] = parse_layout(layout, "layout").tables
    return " ".join(recognised("x.csv", table, {}))


TABLE = "[[table]]\nholds = 'checks'\n"


@pytest.mark.parametrize(
    ("layout", "says"),
    [
        pytest.param(
            "[table.columns]\nward = 'House'\nchecked_at = ['Day', 'Time']",
            "x.csv: read as a check log: ward from 'House', "
            "checked_at from 'Day' and 'Time', volume_remaining_ml.",
            id="headers of the file's own",
        ),
        pytest.param(
            "[table.columns]\nchecked_at = 'checked_at'\nward = 'Ward'",
            "read as a check log: ward, checked_at, volume_remaining_ml.",
            id="a header with the column's name, in the order of the dictionary",
        ),
        pytest.param(
            "date_order = 'dmy'\nclock = '12'\ndecimal = ','\n"
            "[table.columns]\nward = 'ward'",
            "x.csv: dates day first; times on a 12-hour clock; numbers with a decimal "
            "comma.",
            id="forms of dates, times and numbers",
        ),
        pytest.param(
            "fill_down = ['House', 'Bed']\n[table.columns]\nward = 'ward'",
            "a blank under 'House' or 'Bed' repeats the value above",
            id="blanks that repeat",
        ),
        pytest.param(
            "[table.columns]\nward = 'ward'\n[table.constants]\npatient_id = 'P1'\n"
            "[table.units]\nset_rate_ml_h = 'mL/24 h'",
            "set_rate_ml_h charted in mL/24 h; patient_id from the layout: 'P1' in "
            "every row",
            id="a unit and a constant",
        ),
        pytest.param(
            "[table.columns]\nward = 'ward'\n"
            "[table.words.entry]\n'rate change' = 'rate_change'\n'down' = 'end'",
            "entry reads 'down' as end.",
            id="words of the site, without those that say themselves",
        ),
        pytest.param(
            "[table.columns]\nward = 'ward'\n[table.words.site_signs]\n'-' = ''",
            "site_signs reads '-' as not recorded",
            id="a word that means not recorded",
        ),
    ],
)
def test_what_was_recognised_is_said(layout: str, says: str) -> None:
    assert says in told(TABLE + layout)


def test_a_canonical_file_needs_no_word() -> None:
    columns = "date_order = 'ymd'\nclock = '24'\ndecimal = '.'\n[table.columns]\n"
    columns += "ward = 'ward'\nchecked_at = 'checked_at'"
    assert told(TABLE + columns) == ""
