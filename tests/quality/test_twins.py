"""Two rows of one moment: saved twice, or a contradiction; both are said."""

from pathlib import Path

import pytest

from tests.tiny import audit, syringe

VOLUMES = {0: 16.0, 4: 13.3, 8: 10.6, 12: 8.0, 16: 5.3, 20: 2.6}


@pytest.mark.parametrize(
    ("second", "said"),
    [
        (13.2, "are nearly the same row twice"),
        (3.3, "of which at most one can be right"),
    ],
)
def test_a_second_reading_of_one_moment_is_a_charting_finding(
    tmp_path: Path, second: float, said: str
) -> None:
    rows = [*syringe(VOLUMES), *syringe({4: second})]
    found = audit(tmp_path, rows).findings
    twins = found[found["kind"] == "near_duplicate"]
    assert len(twins) == 1
    assert said in twins["sentence"].iloc[0]


def test_two_drivers_read_in_one_minute_are_no_contradiction(tmp_path: Path) -> None:
    rows = syringe(VOLUMES, infusion_id="", driver_id="D1")
    rows += syringe(VOLUMES, infusion_id="", driver_id="D2")
    found = audit(tmp_path, rows).findings
    assert "near_duplicate" not in set(found["kind"])
