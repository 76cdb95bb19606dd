"""The document: whole for every sort of infusion, and text of a log stays text."""

import ast
import re
from pathlib import Path

import pytest

from analysis.incident import Asked, Incident, open_incident, sections
from analysis.report.inline import inline
from analysis.report.notebook import PARAMETERS, load_notebook
from tests.incident.reviewed import (
    RATE,
    STOPPED,
    others,
    page,
    review,
    shown,
    text_of,
    uneventful,
)
from tests.tiny import Row, syringe

VOLUMES = {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0}
RIGHT_TO_LEFT = "\N{RIGHT-TO-LEFT OVERRIDE}"
SCRIPT = "<script>alert('x')</script>"
FORMULA = "=cmd|' /C calc'!A0"
EMOJI = "\N{PILL}\N{FIRE}"
LONG = "long " * 2_000


def given_only() -> list[Row]:
    rows = syringe({0: None, 4: None, 8: None, 12: None}, set_rate_ml_h=RATE)
    return [
        row | {"volume_delivered_ml": given, "volume_remaining_ml": None}
        for row, given in zip(rows, (0.0, 2.7, 5.3, 8.0), strict=True)
    ]


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        pytest.param(
            uneventful("I1"),
            "consistent with delivery as set, as far as they can show it",
            id="uneventful",
        ),
        pytest.param(
            syringe({0: 16.0}, set_rate_ml_h=RATE),
            "cannot be judged: no volume reading after the start",
            id="not evaluable: its start alone",
        ),
        pytest.param(
            syringe({0: None, 4: None, 8: None}, set_rate_ml_h=RATE),
            "cannot be judged: no volume reading",
            id="not evaluable: without volumes",
        ),
        pytest.param(
            syringe(VOLUMES, set_rate_ml_h=None),
            "consistent with delivery as set",
            id="without a rate",
        ),
        pytest.param(
            syringe({4: 13.3, 8: 10.7, 12: 8.0}, set_rate_ml_h=RATE),
            "consistent with delivery as set",
            id="without a start",
        ),
        pytest.param(
            syringe(VOLUMES, set_rate_ml_h=RATE, start="2026-06-02T00:00"),
            "First, the patient. No end is charted when the log ends",
            id="running when the log ends",
        ),
        pytest.param(
            given_only(), "consistent with delivery as set", id="volumes given only"
        ),
        pytest.param(
            syringe(
                {0: 16.0, 4: 13.3, 8: 10.7, 12: 15.6, 16: 13.0}, set_rate_ml_h=RATE
            ),
            "delivery “volume rose”",
            id="a volume that rose",
        ),
        pytest.param(
            syringe({0: 16.0, 4: 11.2, 8: 6.4, 12: 1.6, 16: 0.0}, set_rate_ml_h=RATE),
            "one ratio of the set rate from the start on",
            id="fast throughout",
        ),
        pytest.param(
            syringe(
                {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0},
                set_rate_ml_h=RATE,
                cells={8: {"ward": "Birch Ward"}, 12: {"ward": "Birch Ward"}},
            ),
            "Alder Ward, then Birch Ward",
            id="moved to another ward",
        ),
    ],
)
def test_every_sort_of_infusion_has_its_document(
    tmp_path: Path, rows: list[Row], says: str
) -> None:
    incident = review(tmp_path, [*rows, *others()], Asked(infusion="I1"))
    made = shown(incident)
    assert says in text_of(made["first_screen"].html)
    assert all(part.html.strip() for part in made.values())
    words = re.findall(r"\w+", text_of(page(incident)))
    assert not {"nan", "NaN", "NaT"} & set(words)


def test_an_infusion_without_a_row_of_the_check_log(tmp_path: Path) -> None:
    table = [
        {
            "infusion_id": name,
            "ward": "Alder Ward",
            "patient_id": "P1",
            "started_at": start,
            "start_volume_ml": 16,
        }
        for name, start in (("I1", "2026-06-01T10:00"), ("I2", ""))
    ]
    for name in ("I1", "I2"):
        folder = tmp_path / name
        incident = review(folder, others(), Asked(infusion=name), infusions=table)
        assert incident.rows.empty
        said = text_of(page(incident))
        assert "cannot be judged: no volume reading" in said
        assert "nan" not in re.findall(r"\w+", said)


def test_an_infusion_whose_rows_were_all_set_aside_says_so_first(
    tmp_path: Path,
) -> None:
    lost = [row | {"checked_at": "after tea"} for row in syringe({0: 16.0, 4: 13.3})]
    described = [
        {
            "infusion_id": "I1",
            "ward": "Alder Ward",
            "patient_id": "P1",
            "started_at": "2026-06-01T10:00",
            "start_volume_ml": 16,
        }
    ]
    incident = review(tmp_path, [*lost, *others()], infusions=described)
    first = text_of(sections.first_screen(incident).html)
    assert (
        "no row of it that could be placed: 2 rows that may be of it were set aside"
        in first
    )
    assert "No row of the check log says when it ran." in first
    assert "log for the time at which the chart says it ran" in first
    whole = text_of(page(incident))
    assert "checks.csv:2: checked_at reads 'after tea'" in whole
    assert "0 members of staff" not in whole


def test_an_infusion_without_an_id_says_that_it_was_derived(tmp_path: Path) -> None:
    rows = [row | {"infusion_id": ""} for row in syringe(VOLUMES, set_rate_ml_h=RATE)]
    asked = Asked(patient="P1", at="2026-06-01T12:00")
    incident = review(tmp_path, [*rows, *others()], asked)
    assert incident.infusion_id.startswith("derived-")
    first = text_of(sections.first_screen(incident).html)
    assert "no id for this infusion; it was derived" in first
    assert "derived" not in text_of(sections.timeline(incident).html)
    assert "was derived from driver" in text_of(sections.cautions(incident).html)


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Incident:
    """Review an infusion whose every text is hostile, with a stop and an amendment."""
    rows = syringe(
        STOPPED,
        infusion_id=f"I1 {SCRIPT}",
        patient_id=f"P1 {EMOJI} & <b>",
        driver_id=FORMULA,
        ward=f"Alder {SCRIPT}",
        set_rate_ml_h=RATE,
        cells={
            4: {"note": f"{RIGHT_TO_LEFT}{SCRIPT}", "checked_by": SCRIPT},
            8: {"note": LONG, "checked_by": FORMULA},
            12: {"alarm": f"occlusion {SCRIPT}", "action": FORMULA + RIGHT_TO_LEFT},
            16: {"note": '"><img src=x onerror=alert(1)>', "line_id": f"L {SCRIPT}"},
            20: {"note": EMOJI, "site_signs": "redness"},
        },
    )
    rows.append({**rows[2], "volume_remaining_ml": 10.6, "amends": "checks.csv:4"})
    table = [
        {
            "infusion_id": f"I1 {SCRIPT}",
            "start_volume_ml": 16,
            "contents": f"{SCRIPT} 30 mg; {FORMULA}",
            "diluent": LONG,
        }
    ]
    folder = tmp_path_factory.mktemp("hostile")
    asked = Asked(infusion=f"I1 {SCRIPT}")
    return review(folder, [*rows, *others()], asked, infusions=table)


def test_text_of_a_log_stays_text(hostile: Incident) -> None:
    document = page(hostile)
    # One script, which is ours: a browser is told by its hash to run no other.
    scripts = re.findall(r"<script[^>]*>(.*?)</script>", document, re.DOTALL)
    assert scripts == [str(inline(with_script=True).script)]
    assert document.lower().count("<script") == 1
    assert "<img src=x" not in document
    assert "&lt;script&gt;" in document
    assert FORMULA in text_of(document)
    assert EMOJI in document


def test_text_is_not_turned_around(hostile: Incident) -> None:
    document = page(hostile)
    assert not re.search("[\u202a-\u202e\u2066-\u2069]", document)


def test_a_long_note_is_cut_and_says_where_the_rest_is(hostile: Incident) -> None:
    timeline = text_of(sections.timeline(hostile).html)
    assert "more characters in checks.csv:9)" in timeline
    assert len(page(hostile)) < 400_000


def test_codes_of_staff_stand_nowhere_in_the_document(tmp_path: Path) -> None:
    cells = {
        4: {"checked_by": "QZX01", "second_checked_by": "QZX02"},
        8: {"checked_by": "QZX02"},
    }
    rows = syringe(VOLUMES, set_rate_ml_h=RATE, cells=cells)
    document = page(review(tmp_path, [*rows, *others()]))
    assert "QZX" not in document
    assert "2 members of staff" in text_of(document)


def test_the_document_fetches_nothing(hostile: Incident) -> None:
    document = page(hostile)
    targets = re.findall(r"""(?:src|href)\s*=\s*["']([^"']*)""", document)
    assert targets
    assert all(target.startswith(("data:image/svg+xml", "#")) for target in targets)
    assert "url(" not in document
    assert "@import" not in document
    ids = set(re.findall(r"""id=["']([^"']+)""", document))
    assert {target[1:] for target in targets if target.startswith("#")} <= ids


def test_no_word_of_blame_or_cause(hostile: Incident) -> None:
    said = text_of(page(hostile)).lower()
    for word in ("caused by", "because of", "negligen", "error by", "blame", "guilty"):
        assert word not in said
    assert "consistent with" in said


def test_the_record_has_the_hash_of_every_file(hostile: Incident) -> None:
    said = text_of(sections.record(hostile).html)
    for file in ("checks.csv", "infusions.csv"):
        assert file in said
    assert all(digest in said for digest in hostile.account["sha256"])


def test_the_same_log_gives_the_same_document(tmp_path: Path) -> None:
    rows = [*syringe(STOPPED, set_rate_ml_h=RATE), *others()]
    one, two = (page(review(tmp_path / name, rows)) for name in ("one", "two"))
    assert one == two


def test_the_notebook_opens_on_the_demo_log_as_it_stands() -> None:
    [cell] = [
        cell
        for cell in load_notebook("incident_review.ipynb").cells
        if PARAMETERS in cell.metadata.get("tags", [])
    ]
    given = {
        node.targets[0].id: ast.literal_eval(node.value)
        for node in ast.parse(cell.source).body
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
    }
    assert given["exports"] == []
    asked = Asked(**{name: given[name] for name in ("infusion", "patient", "at")})
    incident = open_incident(
        given["exports"], asked, policy=given["policy"], layout=given["layout"]
    )
    # A planted stall: synthetic_data/truth_infusions.csv.
    assert incident.known["kind"] == "stall"
    assert not incident.policy.is_example


def test_others_are_named_by_infusion_and_not_by_patient(tmp_path: Path) -> None:
    rows = [
        *uneventful("I1", driver_id="D1", start="2026-06-03T10:00"),
        *syringe(STOPPED, infusion_id="before", patient_id="ZZTOP", set_rate_ml_h=RATE),
        *others(),
    ]
    history = text_of(sections.history(review(tmp_path, rows)).html)
    assert "before" in history
    assert "stopped for a while" in history
    assert "ZZTOP" not in history


@pytest.mark.parametrize("volumes", [{0: 16.0}, {4: 13.3}, {0: None}])
def test_an_infusion_of_one_reading_leaves_no_empty_part_and_no_nan(
    volumes: dict[int, float | None], tmp_path: Path
) -> None:
    incident = review(tmp_path, syringe(volumes, set_rate_ml_h=RATE, checked_by="AB"))
    html = sections.first_screen(incident).html
    known = text_of(html[html.index('<h2 id="known">') :])
    assert "What is known No reading could be compared" in " ".join(known.split())
    shown = text_of(sections.when(incident).html) + text_of(html)
    assert not re.search(r"\bnan\b", shown)
    timeline = " ".join(text_of(sections.timeline(incident).html).split())
    assert "1 member of staff, under a pseudonym" in timeline
