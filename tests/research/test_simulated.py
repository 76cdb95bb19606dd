"""What intervals and ratios are worth, shown on simulated logs with fixed seeds."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from analysis.intake import read_exports
from analysis.intervals import poisson_exact, rate_clustered
from analysis.policy import Policy
from analysis.research import study_sites
from analysis.research.factors import Factor
from analysis.research.regression import enough, poisson_fit
from analysis.research.risk import Risk
from analysis.sites.rates import grouped_rates, reaction_rates
from analysis.synthetic import Planting, WardHabits, make_log, write_log

LOGS = 2000


@pytest.mark.parametrize("mean", [1.0, 3.0, 10.0, 40.0])
def test_exact_limits_hold_the_rate_of_independent_events(mean: float) -> None:
    counts = np.random.default_rng(7).poisson(mean, LOGS)
    low, high = poisson_exact(counts, np.full(LOGS, 100.0))
    held = ((low <= mean / 100) & (mean / 100 <= high)).mean()
    assert held >= 0.95 - 2 * np.sqrt(0.95 * 0.05 / LOGS)


def clustered_log(patients: int, rate: float, spread: float, seed: int) -> pd.DataFrame:
    """Give cells of many logs, a ward each: patients differ in sites and in rate."""
    rng = np.random.default_rng(seed)
    shape = (LOGS, patients)
    sites = 1 + rng.poisson(2, shape)
    days = rng.gamma(2 * sites, 1.5)
    own = rng.gamma(1 / spread, spread, shape) if spread else np.ones(shape)
    log = np.repeat(np.arange(LOGS), patients)
    return pd.DataFrame(
        {
            "ward": [f"{n:04}" for n in log],
            "month": "2026-01",
            "patient_id": np.tile(np.arange(patients), LOGS).astype(str),
            "events": rng.poisson(rate * days * own).ravel().astype(float),
            "exposure": days.ravel(),
        }
    )


@pytest.mark.parametrize(
    ("patients", "rate", "spread"),
    [
        pytest.param(30, 0.08, 0.0, id="30 patients who do not differ"),
        pytest.param(30, 0.08, 0.5, id="30 patients who differ"),
        pytest.param(60, 0.08, 0.5, id="60 patients"),
        pytest.param(200, 0.06, 1.0, id="200 patients who differ more"),
    ],
)
def test_limits_by_patient_hold_the_rate_in_93_to_97_of_100_logs(
    patients: int, rate: float, spread: float
) -> None:
    cells = clustered_log(patients, rate, spread, seed=11)
    sums = grouped_rates(cells)
    sums = sums[sums.index.get_level_values("ward") != "all"]
    sums = sums[sums.index.get_level_values("period") == "all"]
    found = rate_clustered(sums)
    judged = found.dropna()
    assert len(judged) > 0.95 * LOGS
    held = ((judged["low"] <= rate) & (rate <= judged["high"])).mean()
    assert 0.93 <= held <= 0.97, held


@pytest.mark.parametrize(
    ("days", "leads"),
    [
        pytest.param([1.0] * 15, "exact", id="each the same: no spread, exact limits"),
        pytest.param(
            [0.1 * n for n in range(1, 16)],
            "clustered by patient",
            id="patients differ: by patient",
        ),
        pytest.param([0.3] * 15, "exact", id="no spread but rounding"),
    ],
)
def test_patients_who_do_not_differ_give_no_limits_of_no_width(
    days: list[float], leads: str
) -> None:
    names = [f"P{n}" for n in range(len(days))]
    pieces = pd.DataFrame({"site": names, "patient_id": names, "days": days})
    pieces = pieces.assign(ward="Alder Ward", month="2026-06")
    at = pd.Timestamp("2026-06-11", tz="Europe/London").as_unit("us")
    episodes = pd.DataFrame({"patient_id": names, "event_at": at, "exclusion": ""})
    episodes = episodes.assign(event_ward="Alder Ward")
    found = reaction_rates(episodes, pieces).iloc[0]
    assert found["interval"] == leads
    rate = found["rate_per_1000"]
    # Garwood (1936): 15 events have limits 8.395 and 24.740.
    exact = rate * np.array([8.395, 24.740]) / 15
    if leads == "exact":
        assert [found["low"], found["high"]] == pytest.approx(exact, rel=1e-3)
    else:
        assert found["low"] < 0.9 * rate < 1.1 * rate < found["high"]


def test_exact_limits_are_too_narrow_where_patients_differ() -> None:
    """What the limits by patient are for: 200 patients whose rates differ."""
    cells = clustered_log(200, 0.06, 2.0, seed=13)
    sums = cells.groupby("ward")[["events", "exposure"]].sum()
    low, high = poisson_exact(sums["events"].to_numpy(), sums["exposure"].to_numpy())
    assert ((low <= 0.06) & (high >= 0.06)).mean() < 0.9


def test_planted_hazard_ratios_are_recovered(tmp_path: Path) -> None:
    """Metal halves a Weibull life of shape 1.5: hazard ratio 2^1.5 = 2.83.

    The second ward's life is 6 days against 9: 1.5^1.5 = 1.84. Drugs, diluent, place
    and volume have no part in it.
    """
    alder = WardHabits(
        name="Alder Ward",
        prefix="ALD",
        site_life_days=9,
        infusions_per_month=150,
        metal_share=0.4,
        start_volumes_ml=(8.0, 16.0, 20.0),
        spread_min=15,
    )
    birch = replace(alder, name="Birch Ward", prefix="BIR", site_life_days=6)
    wards = [alder, birch]
    log = make_log(
        rng=np.random.default_rng(5),
        wards=wards,
        first_day=date(2026, 1, 1),
        days=365,
        planting=Planting(death_share=0.5, stop_share=0.2),
    )
    write_log(log, tmp_path)
    names = ("checks.csv", "infusions.csv", "lines.csv")
    policy = Policy.example()
    read = read_exports([tmp_path / name for name in names], policy)
    study, _ = study_sites(read, policy, b"k")
    rows = study.associations.set_index(["factor", "level"])
    metal = rows.xs(("cannula material", "metal")).astype("object").to_dict()
    for kind in ("", "cox_", "joint_"):
        assert metal[f"{kind}low"] < 2**1.5 < metal[f"{kind}high"]
        assert metal[f"{kind}low"] > 1.5
    ward = rows.xs(("ward", "Alder Ward")).astype("object").to_dict()
    assert ward["low"] < 1.5**-1.5 < ward["high"] < 1
    nothing = rows[
        rows.index.get_level_values("factor").str.contains("drug|diluent|volume")
    ]["ratio"].dropna()
    others = rows.loc[nothing.index]
    assert ((others["low"] < 1) & (others["high"] > 1)).mean() > 0.8
    assert metal["p_changes"] > 0.01


#: True ratio of metal cannulas in the simulated studies.
RATIO = 2.0


def study_of_metal(
    rng: np.random.Generator,
    setting: tuple[int, float, float],
    *,
    is_of_patient: bool,
) -> tuple[Risk, Factor]:
    """Give sites at risk of patients who differ, each with some sites of its own.

    A setting is: patients, reactions a day of plastic, and the variance of the
    patients' own rates about 1.
    """
    patients, rate, spread = setting
    whose = np.repeat(np.arange(patients), 1 + rng.poisson(2, patients))
    size = len(whose)
    metal = rng.random(patients if is_of_patient else size) < 0.4
    metal = metal[whose] if is_of_patient else metal
    own = rng.gamma(1 / spread, spread, patients)[whose]
    days = rng.gamma(2, 1.5, size)
    rows = pd.DataFrame(
        {
            "patient_id": whose.astype(str),
            "band": 0,
            "from_day": 0.0,
            "to_day": days,
            "days": days,
            "event": rng.poisson(rate * days * own * np.where(metal, RATIO, 1.0)),
        }
    )
    factor = Factor(
        name="cannula material",
        values=pd.Series(np.where(metal, "metal", "plastic")),
        is_number=False,
        levels=("plastic", "metal"),
        reference="plastic",
    )
    nothing = pd.DataFrame()
    contents = pd.Series(dtype="str")
    risk = Risk(rows=rows, drugs=nothing, contents=contents, not_placed=0)
    return risk, factor


@pytest.mark.parametrize(
    ("patients", "rate", "spread", "is_of_patient"),
    [
        pytest.param(30, 0.15, 0.5, False, id="30 patients, metal by site"),
        pytest.param(60, 0.08, 0.5, True, id="60 patients, metal by patient"),
        pytest.param(200, 0.06, 1.0, True, id="200 patients who differ more"),
    ],
)
def test_limits_of_regression_hold_the_ratio_in_93_to_97_of_100_studies(
    patients: int, rate: float, spread: float, *, is_of_patient: bool
) -> None:
    rng = np.random.default_rng(17)
    held, plain = [], []
    for _ in range(LOGS):
        setting = (patients, rate, spread)
        risk, factor = study_of_metal(rng, setting, is_of_patient=is_of_patient)
        found = poisson_fit(risk, (factor,)).ratios
        if found:
            [ratio] = found.values()
            held.append(ratio.low <= RATIO <= ratio.high)
            # Without regard to patients, as two Poisson counts.
            events = risk.rows.groupby(factor.values)["event"].sum()
            reach = np.exp(1.96 * np.sqrt((1 / events).sum()))
            plain.append(ratio.ratio / reach <= RATIO <= ratio.ratio * reach)
    assert len(held) > 0.95 * LOGS
    assert 0.93 <= np.mean(held) <= 0.97, np.mean(held)
    if is_of_patient:
        assert np.mean(plain) < 0.9, np.mean(plain)


@pytest.mark.parametrize(
    ("events", "parameters", "patients", "is_enough", "says"),
    [
        pytest.param(100, 10, 50, True, "", id="ten for each: steady"),
        pytest.param(99, 10, 50, True, "unsteady", id="fewer: unsteady"),
        pytest.param(50, 10, 50, True, "unsteady", id="five for each"),
        pytest.param(49, 10, 50, False, "at least 5 for each", id="fewer: refused"),
        pytest.param(100, 2, 9, False, "9 patients", id="nine patients: refused"),
    ],
)
def test_events_per_parameter_are_guarded(
    events: int, parameters: int, patients: int, *, is_enough: bool, says: str
) -> None:
    found, note = enough(events, parameters, patients)
    assert found == is_enough
    assert says in note if says else note == ""


def test_a_rate_of_nothing_is_an_empty_line() -> None:
    names = ["ward", "month", "patient_id", "site"]
    pieces = pd.DataFrame({name: pd.Series(dtype="str") for name in names})
    episodes = pd.DataFrame(
        {
            "exclusion": pd.Series(dtype="str"),
            "event_at": pd.Series(dtype="datetime64[us, Europe/London]"),
            "event_ward": pd.Series(dtype="str"),
            "patient_id": pd.Series(dtype="str"),
        }
    )
    found = reaction_rates(episodes, pieces.assign(days=pd.Series(dtype=float)))
    assert found["events"].tolist() == [0]
    assert found[["rate_per_1000", "low", "high"]].isna().all().all()


def small_risk() -> tuple[Risk, Factor]:
    """Give rows at risk of 40 patients, some of metal cannulas."""
    rng = np.random.default_rng(3)
    size = 400
    metal = rng.random(size) < 0.4
    rows = pd.DataFrame(
        {
            "patient_id": rng.integers(0, 40, size).astype(str),
            "band": rng.integers(0, 2, size),
            "from_day": 0.0,
            "to_day": 2.0,
            "days": rng.uniform(0.5, 2, size),
            "event": rng.poisson(np.where(metal, 0.5, 0.25)),
        }
    )
    factor = Factor(
        name="cannula material",
        values=pd.Series(np.where(metal, "metal", "plastic")),
        is_number=False,
        levels=("plastic", "metal"),
        reference="plastic",
    )
    nothing = pd.DataFrame()
    risk = Risk(rows=rows, drugs=nothing, contents=pd.Series(dtype="str"), not_placed=0)
    return risk, factor


def test_limits_by_patient_are_those_of_statsmodels() -> None:
    risk, factor = small_risk()
    found = poisson_fit(risk, (factor,)).ratios["cannula material\tmetal"]
    rows = risk.rows
    exog = pd.DataFrame(
        {"const": 1.0, "band": rows["band"] == 1, "metal": factor.values == "metal"}
    ).astype(float)
    model = sm.GLM(
        rows["event"], exog, family=sm.families.Poisson(), exposure=rows["days"]
    )
    plain = model.fit(
        cov_type="cluster", cov_kwds={"groups": rows["patient_id"].astype(int)}
    )
    # statsmodels also multiplies by (n - 1) / (n - k), which ours leaves out.
    n, k = exog.shape
    error = plain.bse["metal"] * np.sqrt((n - k) / (n - 1))
    patients = rows["patient_id"].nunique()
    reach = stats.t.isf(0.025, patients - 1) * error
    assert found.ratio == pytest.approx(np.exp(plain.params["metal"]), rel=1e-6)
    assert found.high == pytest.approx(np.exp(plain.params["metal"] + reach), rel=1e-6)


def test_what_the_others_give_already_is_left_out_by_name() -> None:
    risk, factor = small_risk()
    twin = replace(factor, name="twin", levels=("plastic", "metal"))
    fit = poisson_fit(risk, (factor, twin))
    assert set(fit.ratios) == {"cannula material\tmetal"}
    assert "cannot be told apart from the others: twin metal" in fit.note
