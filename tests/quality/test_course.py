"""Where a volume must stand by its own infusion: nothing said where nothing can be."""

from pathlib import Path

from tests.tiny import audit, syringe


def test_a_time_in_doubt_of_an_infusion_without_a_rate_is_judged_without_a_warning(
    tmp_path: Path,
) -> None:
    """No reading is compared with a line, so that none has an uncertainty."""
    volumes = {0: 20.0, 4: 16.8, 18: 13.6, 12: 10.4, 16: 7.2, 20: 4.0}
    rows = syringe(volumes, entries={0: "check"}, set_rate_ml_h="", driver_id="")
    result = audit(tmp_path, rows)
    assert result.account["accepted"].tolist() == [len(volumes)]
