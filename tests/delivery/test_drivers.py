"""Flow of each driver, pooled over its infusions: a random effect of drivers."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from analysis.audit import AuditResult
from analysis.delivery.drivers import (
    FEWEST_DRIVERS,
    driver_flow,
    infusion_factors,
    pool,
    within_variance,
)
from analysis.report.drivers import driver_flow as shown
from tests.tiny import Row, audit, syringe

# Six trials of DerSimonian and Kacker (Contemp Clin Trials 2007; 28:105-114, Tables 3
# and 4): events of treated and of controls, and what they print.
TREATED = (5, 156), (5, 303), (12, 565), (69, 1570), (9, 103), (313, 4659)
CONTROLS = (8, 74), (17, 303), (9, 477), (94, 1565), (11, 105), (352, 4650)


def log_odds_ratios() -> tuple[pd.Series, pd.Series]:
    a, n = np.array(TREATED, dtype="float64").T
    b, m = np.array(CONTROLS, dtype="float64").T
    effect = np.log(a / (n - a) * (m - b) / b)
    variance = 1 / a + 1 / (n - a) + 1 / b + 1 / (m - b)
    return pd.Series(effect), pd.Series(variance)


def test_the_library_gives_the_published_random_effects_mean() -> None:
    effect, variance = log_odds_ratios()
    found = combine_effects(effect.to_numpy(), variance.to_numpy(), method_re="dl")
    assert np.sqrt(found.tau2) == pytest.approx(0.2323, abs=5e-5)
    assert found.mean_effect_re == pytest.approx(-0.3240, abs=5e-5)
    assert found.sd_eff_w_re == pytest.approx(0.1540, abs=5e-5)


def test_with_one_driver_the_spread_within_is_the_librarys_paule_mandel() -> None:
    effect, variance = log_odds_ratios()
    found = combine_effects(effect.to_numpy(), variance.to_numpy(), method_re="pm")
    own = within_variance(effect, variance, pd.Series(["D1"] * len(effect)))
    assert own == pytest.approx(found.tau2, rel=1e-4)


def test_the_spread_within_drivers_knows_nothing_of_the_drivers_means() -> None:
    effect, variance = log_odds_ratios()
    driver = pd.Series(["D1"] * len(effect))
    both = pd.concat([effect, effect + 5], ignore_index=True)
    pooled = within_variance(
        both,
        pd.concat([variance, variance], ignore_index=True),
        pd.concat([driver, driver + "b"], ignore_index=True),
    )
    assert pooled == pytest.approx(within_variance(effect, variance, driver), rel=1e-6)


def readings_of(factor: float, offset: float, **cells: object) -> pd.DataFrame:
    """Give one noise-free infusion of 16 mL at a factor, off by an offset."""
    given = np.array([2.6, 5.3, 8.0, 10.7, 13.3, 15.6])
    return pd.DataFrame(
        {
            "infusion_id": "I1",
            "residual_ml": offset - (factor - 1) * given,
            "delivered_ml": given,
            "expected_ml": 16 - given,
            "base_ml": 16.0,
            "is_floored": True,
            "reading_variance_ml2": 0.01,
            "slip_probability": 0.0,
            **cells,
        }
    )


@pytest.mark.parametrize("offset", [0.0, -1.0, 0.6])
def test_a_fixed_offset_of_the_start_is_no_flow(offset: float) -> None:
    found = infusion_factors(readings_of(1.08, offset)).loc["I1"]
    # The offset may be anything up to some mL, which is not quite anything.
    assert found["factor"] == pytest.approx(1.08, abs=2e-3)


def test_a_factor_is_the_least_squares_slope_where_the_offset_is_free() -> None:
    rng = np.random.default_rng(3)
    read = readings_of(0.97, 0.2)
    read["residual_ml"] += rng.normal(0, 0.1, len(read))
    used = read[read["expected_ml"] > 1.6]
    slope, _ = np.polyfit(used["delivered_ml"], used["residual_ml"], 1)
    found = infusion_factors(read).loc["I1", "factor"]
    assert found == pytest.approx(1 - slope, abs=1e-3)


def test_a_slip_weighs_nothing_and_an_infusion_of_slips_tells_nothing() -> None:
    read = readings_of(1.0, 0.0)
    read.loc[2, "residual_ml"] = 5.0
    read.loc[2, "slip_probability"] = 1.0
    assert infusion_factors(read).loc["I1", "factor"] == pytest.approx(1.0)
    assert infusion_factors(read.assign(slip_probability=1.0)).empty


def simulated(
    rng: np.random.Generator, drivers: int, infusions: float, sd: float
) -> tuple[pd.DataFrame, pd.Series, np.ndarray]:
    true = 1 + rng.normal(0, sd, drivers)
    of = np.repeat(np.arange(drivers), 1 + rng.poisson(infusions - 1, drivers))
    error = rng.uniform(0.015, 0.05, len(of))
    factor = true[of] + rng.normal(0, 0.02, len(of)) + rng.normal(0, error)
    return (
        pd.DataFrame({"factor": factor, "variance": error**2}),
        pd.Series(of),
        true,
    )


@pytest.mark.parametrize(
    ("drivers", "infusions", "sd"),
    [
        pytest.param(3, 20, 0.02, id="too few drivers to tell how they differ"),
        pytest.param(8, 15, 0.015, id="a small service"),
        pytest.param(30, 10, 0.015, id="a large service"),
        pytest.param(30, 3, 0.02, id="few infusions each"),
        pytest.param(30, 10, 0.0, id="drivers that are all alike"),
    ],
)
def test_limits_hold_the_true_factor_of_95_in_100_drivers(
    drivers: int, infusions: float, sd: float
) -> None:
    rng = np.random.default_rng(7)
    held = []
    for _ in range(900 // drivers):
        factors, of, true = simulated(rng, drivers, infusions, sd)
        found = pool(factors, of, 5.0)
        held += list(
            (found["flow_factor_low"] <= true) & (true <= found["flow_factor_high"])
        )
    # 900 drivers: Monte Carlo error 0.7 %; limits may be somewhat wide.
    assert 0.925 <= np.mean(held) <= 0.995


def test_one_driver_unlike_all_others_keeps_its_place() -> None:
    rng = np.random.default_rng(8)
    held = []
    for _ in range(60):
        factors, of, true = simulated(rng, 30, 20, 0.01)
        factors.loc[of == 0, "factor"] += 0.08
        found = pool(factors, of, 5.0).loc[0]
        low, high = found["flow_factor_low"], found["flow_factor_high"]
        held.append(low <= true[0] + 0.08 <= high)
    # Drawn without a bound it would be held in 6 of 10 logs only.
    assert np.mean(held) > 0.85


def test_few_infusions_are_drawn_to_the_mean_more_than_many() -> None:
    rng = np.random.default_rng(9)
    factors, of, _ = simulated(rng, FEWEST_DRIVERS + 5, 20, 0.01)
    alone = of.index[(of == 0)][1:]
    found = pool(factors.drop(alone), of.drop(alone), 5.0)
    width = found["flow_factor_high"] - found["flow_factor_low"]
    assert width[0] > width.drop(0).max()
    assert found.loc[0, "infusions"] == 1


def service(fast: str, *, days: int = 14) -> list[Row]:
    """Give a log of six drivers, one of which delivers 8 % fast."""
    rng = np.random.default_rng(11)
    rows: list[Row] = []
    hours = (0, 4, 8, 12, 16, 20, 22)
    for place in range(6):
        driver = f"D{place + 1}"
        for day in range(days):
            factor = (1.08 if driver == fast else 1.0) + rng.normal(0, 0.012)
            left = [16 - factor * 16 / 24 * h for h in hours]
            noise = rng.normal(0, 0.08, len(hours))
            read = [max(round(v + e, 1), 0.0) for v, e in zip(left, noise, strict=True)]
            rows += syringe(
                dict(zip(hours, [16.0, *read[1:]], strict=True)),
                start=f"2026-06-{day + 1:02}T10:07",
                entries={22: "end"},
                infusion_id=f"{driver}-{day}",
                patient_id=f"P{place}",
                driver_id=driver,
                set_rate_ml_h=0.6667,
            )
    return rows


@pytest.fixture(scope="module")
def planted(tmp_path_factory: pytest.TempPathFactory) -> AuditResult:
    return audit(tmp_path_factory.mktemp("drivers"), service("D4"))


def test_a_driver_8_percent_fast_is_listed_and_its_interval_holds_it(
    planted: AuditResult,
) -> None:
    table = planted.drivers.set_index("driver_id")
    fast = table.loc["D4"]
    assert fast["flow_factor_low"] <= 1.08 <= fast["flow_factor_high"]
    assert table.index[table["outside"] == "yes"].tolist() == ["D4"]
    others = table.drop("D4")
    assert (others["flow_factor_low"] < 1.01).all()
    assert (others["flow_factor_high"] > 0.99).all()
    assert "for a check of the driver by whoever services it" in fast["sentence"]
    assert not others["sentence"].str.contains("for a check").any()


def test_every_infusion_with_a_driver_is_counted_once(planted: AuditResult) -> None:
    table = planted.drivers
    counted = table[["infusions", "with_event", "not_pooled"]].sum(axis=1)
    assert counted.tolist() == [14] * 6
    is_event = planted.infusions["kind"].fillna("") != ""
    assert table["with_event"].sum() == is_event.sum()


def test_the_section_names_the_driver_and_what_it_is_for(planted: AuditResult) -> None:
    html = shown(planted).html
    assert "<b>D4</b>" in html
    assert "For a check of the driver by whoever services it" in html


def test_infusions_with_a_delivery_event_do_not_enter() -> None:
    read = pd.concat(
        [readings_of(1.0, 0.0), readings_of(0.5, 0.0, infusion_id="I2")],
        ignore_index=True,
    )
    known = pd.DataFrame(
        {"driver_id": ["D1", "D1"], "kind": ["", "slow"]}, index=["I1", "I2"]
    )
    row = driver_flow(read, known, 5.0).iloc[0]
    assert (row["infusions"], row["with_event"]) == (1, 1)
    assert row["pooled_factor"] == pytest.approx(1.0)
    assert "Left out is 1 with a delivery finding" in row["sentence"]


def test_a_driver_of_which_nothing_is_known_has_no_factor() -> None:
    known = pd.DataFrame({"driver_id": ["D1"], "kind": [""]}, index=["I9"])
    row = driver_flow(readings_of(1.0, 0.0), known, 5.0).iloc[0]
    assert (row["infusions"], row["not_pooled"], row["outside"]) == (0, 1, "no")
    assert np.isnan(row["flow_factor"])
    assert row["sentence"] == "No infusion of this driver can tell of its flow."


def test_a_log_without_a_reading_has_its_drivers_and_no_factor(tmp_path: Path) -> None:
    drivers = audit(tmp_path, syringe({0: None, 8: None})).drivers
    assert drivers["not_pooled"].tolist() == [1]
    assert drivers["flow_factor"].isna().all()


def test_an_export_without_driver_ids_says_so(tmp_path: Path) -> None:
    rows = syringe({0: 16.0, 8: 10.6, 16: 5.3, 23: 0.7}, driver_id="")
    result = audit(tmp_path, rows)
    assert result.drivers.empty
    assert "No driver ids in this export." in shown(result).html
