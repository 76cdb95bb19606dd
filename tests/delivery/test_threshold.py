"""The threshold keeps the wanted false-flag rate with room to spare."""

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.delivery import judge_delivery
from analysis.delivery.slip_rates import Place, SlipRatios
from analysis.delivery.threshold import (
    DRAWN,
    by_list,
    draw_uneventful,
    weighted_quantile,
)
from analysis.intake import read_exports
from analysis.policy import Policy
from analysis.synthetic import DEMO_PLANTING, WARDS, make_log, write_log
from analysis.terms import Entry
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


def _rows(sizes: dict[str, int]) -> pd.DataFrame:
    """Give readings of 24 h infusions, so many in each, as the draw takes them."""
    of = np.repeat(list(sizes), list(sizes.values()))
    hours = np.concatenate([np.linspace(0, 24, n) for n in sizes.values()])
    return pd.DataFrame({"infusion_id": of, "delivered_ml": 0.67 * hours}).assign(
        base_ml=16.0,
        offset_ml=0.0,
        offset_sd_ml=0.1,
        flow_sd=0.03,
        is_floored=True,
        reading_step_ml=0.1,
        reading_variance_ml2=0.05,
        slip_share=0.02,
        stopped_log_ratio=0.0,
        entry=Entry.CHECK,
    )


@pytest.mark.parametrize(
    ("readings", "times"),
    [
        pytest.param(7, 80, id="an ordinary infusion"),
        pytest.param(60, 80, id="as many as are drawn in full"),
        pytest.param(97, 30, id="every 15 minutes: 80 over (97 / 60) squared"),
        pytest.param(400, 1, id="400 readings: 80 over 44"),
        pytest.param(900, 1, id="never left out"),
    ],
)
def test_infusions_of_many_readings_are_drawn_less_often(
    readings: int, times: int
) -> None:
    # Else a few of them take minutes: time goes by the square of the readings.
    rows = _rows({"dense": readings} | {f"I{i}": 7 for i in range(99)})
    ratios = SlipRatios(by_place=(1.0,) * len(Place), second=1.0)
    drawn = draw_uneventful(rows, np.random.default_rng(1), ratios)
    real = drawn["infusion_id"].str.partition("\x1f")[0]
    count = drawn["infusion_id"].groupby(real).nunique()
    assert count["dense"] == times
    assert set(count.drop("dense")) == {DRAWN // 100}
    assert len(drawn) == times * readings + 99 * 80 * 7


def test_a_quantile_by_weight_counts_each_infusion_the_same() -> None:
    rng = np.random.default_rng(4)
    few, many = rng.normal(3, 1, 500), rng.normal(0, 1, 8000)
    weight = np.r_[np.full(500, 16.0), np.ones(8000)]
    found = weighted_quantile(np.r_[few, many], weight, 0.95)
    # Half of the weight each: as if those drawn less often stood 16 times.
    same = np.quantile(np.r_[np.repeat(few, 16), many], 0.95)
    assert found == pytest.approx(same, abs=0.01)
    assert found > np.quantile(np.r_[few, many], 0.95) + 0.5
    plain = weighted_quantile(many, np.ones(8000), 0.99)
    assert plain == pytest.approx(np.quantile(many, 0.99), abs=1e-12)


@pytest.mark.parametrize(
    ("most", "limit"),
    [
        pytest.param(8000, 0.10, id="enough are drawn: their quantile"),
        pytest.param(600, 0.49, id="too few: not below the usual threshold"),
    ],
)
def test_a_vague_quantile_does_not_go_below_the_usual_threshold(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, most: int, limit: float
) -> None:
    # As in a short log of infusions that are all read every few minutes.
    monkeypatch.setattr("analysis.delivery.threshold.DRAWN", most)
    rng = np.random.default_rng(2)
    rows = []
    for i in range(60):
        noise = rng.normal(0, 0.1, 12)
        read = {2 * k: round(15.9 - 1.34 * k + noise[k], 1) for k in range(12)}
        rows += syringe(read, infusion_id=f"I{i}", patient_id=f"P{i}")
    found = audit(tmp_path, rows, policy=policy_but(false_flags_per_1000=10)).threshold
    assert found.drawn == most // 60 * 60 + (most % 60 > 0) * 60
    assert found.probability == pytest.approx(limit, abs=0.001)


def test_where_all_have_an_event_all_are_listed(tmp_path: Path) -> None:
    # Hardly any infusion is uneventful there: a share of them left nothing listed.
    assert by_list(pd.Series([1 - 1e-7] * 80), 0.01) == 0.0
    rng = np.random.default_rng(1)
    rows = []
    for i in range(80):
        noise = rng.normal(0, 0.1, 6)
        late = [0, 0, 0, 2.7, 4.0, 4.0]
        read = {4 * k: 16 - 2.68 * k + late[k] + noise[k] for k in range(6)}
        rows += syringe(
            {hour: round(volume, 1) for hour, volume in read.items()},
            infusion_id=f"I{i}",
            patient_id=f"P{i}",
        )
    findings = audit(tmp_path, rows).findings
    assert (findings["kind"] == "stall").sum() == 80
