"""The threshold keeps the wanted false-flag rate with room to spare."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from analysis.delivery import judge_delivery
from analysis.intake import read_exports
from analysis.policy import Policy
from analysis.synthetic import DEMO_PLANTING, WARDS, make_log, write_log
from tests.tiny import audit, policy_but, syringe


def test_less_than_the_wanted_rate_is_aimed_at(tmp_path: Path) -> None:
    # A limit that is aimed at is passed by every other log: 0.85 of it is.
    made = make_log(
        rng=np.random.default_rng(3),
        wards=WARDS,
        first_day=date(2026, 5, 1),
        days=62,
        planting=DEMO_PLANTING,
    )
    write_log(made, tmp_path)
    exports = [tmp_path / f"{name}.csv" for name in ("checks", "infusions")]
    policy = Policy.example()
    found = judge_delivery(read_exports(exports, policy), policy)
    wanted, limit = policy.false_flags_per_1000, found.threshold
    assert limit.wanted_per_1000 == wanted
    assert limit.drawn > 1000
    # Among those drawn, to the one infusion that the quantile lies between.
    assert limit.false_per_1000 <= 0.85 * wanted + 1000 / limit.drawn
    none = found.probabilities["none"]
    is_listed = (1 - none).round(4) > limit.probability
    assert is_listed.any()
    assert none[is_listed].sum() <= 0.85 * wanted / 1000 * none.sum()


@pytest.mark.parametrize(
    ("wanted", "limit"),
    [
        pytest.param(2, 0.95, id="two in a thousand"),
        pytest.param(10, 0.49, id="ten in a thousand"),
        pytest.param(22.36, 0.295, id="half-way to fifty, by the logarithm"),
        pytest.param(50, 0.10, id="fifty in a thousand"),
        pytest.param(200, 0.10, id="more than that lists nothing less probable"),
    ],
)
def test_a_log_of_few_infusions_has_the_usual_threshold(
    tmp_path: Path, wanted: float, limit: float
) -> None:
    rows = syringe({0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0})
    policy = policy_but(false_flags_per_1000=wanted)
    found = audit(tmp_path, rows, policy=policy).threshold
    assert found.probability == pytest.approx(limit, abs=0.001)
    assert found.drawn == 0
