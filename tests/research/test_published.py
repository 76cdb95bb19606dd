"""Survival, incidence and regression against published and certified numbers."""

from typing import Final

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.duration.survfunc import _survdiff

from analysis.intervals import poisson_exact, rate_ratio_exact, rate_ratio_p, wilson
from analysis.research.regression import cox_fit
from analysis.research.survival import (
    cumulative_incidence,
    free_at,
    kaplan_meier,
    log_rank,
    median_time,
    self_consistent,
)

# Weeks in remission. Freireich EJ et al. (1963) Blood 21:699-716; Gehan EA (1965)
# Biometrika 52:203-223.
TREATED = "6 6 6 7 10 13 16 22 23 6+ 9+ 10+ 11+ 17+ 19+ 20+ 25+ 32+ 32+ 34+ 35+"
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"


def weeks(text: str) -> pd.DataFrame:
    """Read times; ``+`` where the end was not seen."""
    words = text.split()
    return pd.DataFrame(
        {
            "time": [float(word.rstrip("+")) for word in words],
            "is_event": [not word.endswith("+") for word in words],
        }
    )


@pytest.mark.parametrize(
    ("text", "published"),
    [
        pytest.param(
            TREATED,
            [
                (6, 21, 3, 0.857, 0.0764, 0.620, 0.952),
                (7, 17, 1, 0.807, 0.0869, 0.563, 0.923),
                (10, 15, 1, 0.753, 0.0963, 0.503, 0.889),
                (13, 12, 1, 0.690, 0.1068, 0.432, 0.849),
                (16, 11, 1, 0.627, 0.1141, 0.368, 0.805),
                (22, 7, 1, 0.538, 0.1282, 0.268, 0.747),
                (23, 6, 1, 0.448, 0.1346, 0.188, 0.680),
            ],
            id="treated",
        ),
        pytest.param(
            PLACEBO,
            [
                (1, 21, 2, 0.9048, 0.0641, 0.67005, 0.975),
                (8, 12, 4, 0.3810, 0.1060, 0.18307, 0.578),
                (17, 3, 1, 0.0952, 0.0641, 0.01626, 0.261),
                (22, 2, 1, 0.0476, 0.0465, 0.00332, 0.197),
            ],
            id="placebo",
        ),
    ],
)
def test_kaplan_meier_with_log_log_limits(
    text: str, published: list[tuple[float, ...]]
) -> None:
    """Venables WN, Ripley BD, MASS 4th ed., reference output."""
    names = ["time", "at_risk", "events", "estimate", "error", "low", "high"]
    found = kaplan_meier(weeks(text))[names].set_index("time", drop=False)
    for row in published:
        own = found.to_numpy(float)[(found["time"] == row[0]).to_numpy()]
        assert own == pytest.approx(np.array([row]), abs=6e-4)


def test_kaplan_meier_agrees_with_scipy_where_nobody_comes_late() -> None:
    own = weeks(TREATED)
    data = stats.CensoredData.right_censored(own["time"], ~own["is_event"])
    curve = stats.ecdf(data).sf
    found = kaplan_meier(own)
    assert curve.evaluate(found["time"].to_numpy()) == pytest.approx(
        found["estimate"], abs=1e-12
    )


def test_sites_that_come_late_are_at_risk_from_then_on() -> None:
    """By hand: at 2 two of three are at risk, at 5 the one that came at 3."""
    own = pd.DataFrame(
        {
            "time": [2.0, 4.0, 5.0],
            "entry": [0.0, 0.0, 3.0],
            "is_event": [True, False, True],
        }
    )
    found = kaplan_meier(own)
    assert found["at_risk"].tolist() == [2, 1]
    assert found["estimate"].tolist() == pytest.approx([0.5, 0.0])


def test_medians() -> None:
    """R's survfit on the same data, limits on the scale of the logarithm."""
    treated, placebo = (median_time(weeks(t), "log") for t in (TREATED, PLACEBO))
    assert (treated.days, treated.low, treated.high) == (23, 16, np.inf)
    assert (placebo.days, placebo.low, placebo.high) == (8, 4, 12)


def test_log_rank() -> None:
    """Kleinbaum DG, Klein M, Survival Analysis 3rd ed. (2012): 16.793."""
    both = pd.concat([weeks(TREATED), weeks(PLACEBO)], ignore_index=True)
    tested = log_rank(both, pd.Series(["treated"] * 21 + ["placebo"] * 21))
    assert tested is not None
    assert tested.chi_square == pytest.approx(16.793, abs=5e-4)
    assert tested.freedom == 1


@pytest.mark.parametrize("groups", [2, 3])
@pytest.mark.parametrize("comes_late", [False, True], ids=["from 0", "late"])
def test_a_log_rank_test_is_made_where_its_variance_can_be_turned_round(
    groups: int, *, comes_late: bool
) -> None:
    """Small groups with ties, against the rank of statsmodels' own variance."""
    rng = np.random.default_rng(groups)
    made = []
    for _ in range(300):
        size = int(rng.integers(3, 8))
        times = pd.DataFrame(
            {
                "time": rng.integers(1, 4, size).astype(float),
                "is_event": rng.random(size) < 0.5,
            }
        )
        entry = np.zeros(size)
        if comes_late:
            entry = np.minimum(rng.integers(0, 3, size), times["time"] - 1.0)
            times["entry"] = entry
        group = pd.Series(rng.integers(0, groups, size))
        if group.nunique() < groups or not times["is_event"].any():
            continue
        _, variance = _survdiff(
            times["time"].to_numpy(),
            times["is_event"].to_numpy(int),
            group.to_numpy(),
            None,
            np.arange(groups),
            np.asarray(entry, float) if comes_late else None,
        )
        is_whole = np.linalg.matrix_rank(np.atleast_2d(variance)) == groups - 1
        assert (log_rank(times, group) is not None) == is_whole, times.assign(g=group)
        made.append(is_whole)
    assert 0.1 < np.mean(made) < 0.95


@pytest.mark.parametrize(
    ("ties", "coefficient"),
    [
        pytest.param("efron", 1.5721, id="Efron's, MASS reference output"),
        pytest.param("breslow", 1.509191, id="Breslow's, R"),
    ],
)
def test_cox(ties: str, coefficient: float) -> None:
    both = pd.concat([weeks(TREATED), weeks(PLACEBO)], ignore_index=True)
    both["patient_id"] = [str(n) for n in range(42)]
    flag = pd.DataFrame({"placebo": [0.0] * 21 + [1.0] * 21})
    found = cox_fit(both, flag, ties)["placebo"]
    assert np.log(found.ratio) == pytest.approx(coefficient, abs=5e-5)
    assert found.low < found.ratio < found.high


def test_incidence_of_ends_that_compete() -> None:
    """A cross-check against SAS kept in the test suite of a survival library."""
    found = cumulative_incidence(np.arange(1.0, 7.0), np.array([0, 1, 1, 2, 2, 0]))[
        1
    ].set_index("time")
    assert found["estimate"][[4, 5, 6]].tolist() == pytest.approx([0.2, 0.4, 0.4])
    variance = (found["error"] ** 2)[[4, 5, 6]]
    assert variance.tolist() == pytest.approx([0.032, 0.048, 0.048], abs=1e-6)
    limits = found.loc[[4, 5], ["low", "high"]].to_numpy()
    expected = [[0.00836904, 0.58185303], [0.05197575, 0.75281579]]
    assert limits == pytest.approx(np.array(expected), abs=1e-6)


def test_incidence_of_a_rare_end() -> None:
    """Satagopan JM et al. (2004) Br J Cancer 91:1229-1235, Table 2, not rounded."""
    time = np.array([10, 16, 23, 27, 18, 26, 7, 14, 24, *[30] * 296], float)
    cause = np.array([1, 1, 1, 1, 2, 2, 0, 0, 0, *[0] * 296])
    event, other = cumulative_incidence(time, cause)
    at = event.set_index("time")["estimate"]
    assert at[10.0] == pytest.approx(0.003, abs=5e-4)
    expected = [0.00658984, 0.00989021, 0.01320165]
    assert at[[16.0, 23.0, 27.0]].tolist() == pytest.approx(expected, abs=1e-8)
    assert other["estimate"].iloc[-1] == pytest.approx(0.00661181, abs=1e-8)


# Months to deterioration. Finkelstein DM, Wolfe RA (1985) Biometrics 41:933-945.
RADIOTHERAPY: Final = (
    "45+ 6,10 0,7 46+ 46+ 7,16 17+ 7,14 37,44 0,8 4,11 15+ 11,15 22+ 46+ 46+ 25,37 46+ "
    "26,40 46+ 27,34 36,44 46+ 36,48 37+ 40+ 17,25 46+ 11,18 38+ 5,12 37+ 0,5 18+ 24+ "
    "36+ 5,11 19,35 17,25 24+ 32+ 33+ 19,26 37+ 34+ 36+"
)


def between(text: str) -> tuple[np.ndarray, np.ndarray]:
    pairs: list[tuple[float, ...]] = [
        (float(word[:-1]), np.inf)
        if word.endswith("+")
        else tuple(map(float, word.split(",")))
        for word in text.split()
    ]
    clear, seen = np.array(pairs).T
    return clear, seen


def test_interval_censored_masses() -> None:
    """Fay MP, Shaw PA (2010) J Stat Softw 36(2), section 4."""
    found = self_consistent(*between(RADIOTHERAPY))
    published = [
        (4, 5, 0.0463),
        (6, 7, 0.0334),
        (7, 8, 0.0887),
        (11, 12, 0.0708),
        (24, 25, 0.0926),
        (33, 34, 0.0818),
        (38, 40, 0.1209),
        (46, 48, 0.4656),
    ]
    held = found[found["mass"] > 1e-4].to_numpy()
    assert held == pytest.approx(np.array(published), abs=1e-4)
    assert found["mass"].sum() == pytest.approx(1.0)
    # Intervals are open below: at 8 all of (7, 8] has happened (S = 0.8316).
    assert free_at(found, np.array([8.0])) == pytest.approx([0.8316], abs=1e-4)
    assert np.isnan(free_at(found, np.array([39.0]))).all()


@pytest.mark.parametrize(
    ("events", "exposure", "low", "high", "tolerance"),
    [
        pytest.param(
            (41, 15), (28010, 19017), 1.005684, 3.609300, 5e-6,
            id="Rothman & Greenland (1998) Modern Epidemiology 2nd ed. p. 238",
        ),
        pytest.param(
            (2, 9), (17877, 16660), 0.02177406, 1.00054910, 5e-9,
            id="Fay (2010) R Journal 2(1):53-58",
        ),
        pytest.param(
            (60, 30), (51477.5, 54308.7), 1.339735721772650, 3.388365573616252, 1e-9,
            id="Gu et al. (2008) Biometrical Journal 50:283-298",
        ),
    ],
)  # fmt: skip
def test_exact_limits_of_a_rate_ratio(
    events: tuple[float, float],
    exposure: tuple[float, float],
    low: float,
    high: float,
    tolerance: float,
) -> None:
    counts = np.array([events[0]]), np.array([events[1]])
    days = np.array([exposure[0]]), np.array([exposure[1]])
    found = rate_ratio_exact(counts, days)
    assert found[0][0] == pytest.approx(low, abs=tolerance)
    assert found[1][0] == pytest.approx(high, abs=tolerance)
    # The central P agrees with the limits.
    assert (rate_ratio_p(counts, days)[0] < 0.05) == (low > 1 or high < 1)


def test_central_p_of_a_rate_ratio() -> None:
    """Fay (2010): 0.05011 by the central convention, which agrees with the limits."""
    p = rate_ratio_p(
        (np.array([2]), np.array([9])), (np.array([17877]), np.array([16660]))
    )
    assert p[0] == pytest.approx(0.05011, abs=5e-6)


def test_a_ratio_without_events_on_one_side() -> None:
    low, high = rate_ratio_exact(
        (np.array([0, 3, 0]), np.array([4, 0, 0])), (np.full(3, 10.0), np.full(3, 10.0))
    )
    assert low[0] == 0
    assert np.isinf(high[1])
    assert np.isnan([low[2], high[2]]).all()


SHIPS = (
    "A 60 60 127 0;A 60 75 63 0;A 65 60 1095 3;A 65 75 1095 4;A 70 60 1512 6;"
    "A 70 75 3353 18;A 75 75 2244 11;B 60 60 44882 39;B 60 75 17176 29;"
    "B 65 60 28609 58;B 65 75 20370 53;B 70 60 7064 12;B 70 75 13099 44;"
    "B 75 75 7117 18;C 60 60 1179 1;C 60 75 552 1;C 65 60 781 0;C 65 75 676 1;"
    "C 70 60 783 6;C 70 75 1948 2;C 75 75 274 1;D 60 60 251 0;D 60 75 105 0;"
    "D 65 60 288 0;D 65 75 192 0;D 70 60 349 2;D 70 75 1208 11;D 75 75 2051 4;"
    "E 60 60 45 0;E 65 60 789 7;E 65 75 437 7;E 70 60 1157 5;E 70 75 2161 12;"
    "E 75 75 542 1"
)


def test_poisson_regression_of_the_ships() -> None:
    """McCullagh P, Nelder JA (1989) Generalized Linear Models 2nd ed., Table 6.3."""
    rows = [row.split() for row in SHIPS.split(";")]
    table = pd.DataFrame(
        rows, columns=pd.Index(["kind", "built", "worked", "months", "n"])
    )
    flags = pd.get_dummies(table[["kind", "built", "worked"]], drop_first=True)
    found = sm.GLM(
        table["n"].astype(float),
        sm.add_constant(flags.astype(float)),
        family=sm.families.Poisson(),
        exposure=table["months"].astype(float),
    ).fit()
    published = {
        "const": -6.40590156,
        "kind_B": -0.54334430,
        "kind_E": 0.32557946,
        "built_70": 0.81842658,
        "worked_75": 0.38446696,
    }
    for name, value in published.items():
        assert found.params[name] == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize(
    ("x", "n", "low", "high"),
    [
        pytest.param(38, 86, 34.2, 54.7, id="38/86, Morgan & Evans (2004)"),
        pytest.param(16, 74, 13.8, 32.3, id="16/74, Abbas et al. (2005)"),
    ],
)
def test_published_counts_of_site_reactions(
    x: int, n: int, low: float, high: float
) -> None:
    """The counts are published; their Wilson limits are arithmetic."""
    found = wilson(np.array([x]), np.array([n]))
    assert [100 * found[0][0], 100 * found[1][0]] == pytest.approx(
        [low, high], abs=0.05
    )


def test_a_rate_per_1000_days() -> None:
    """Constructed: 7 events in 2,345 device-days (recomputed, no published figure)."""
    low, high = poisson_exact(np.array([7]), np.array([2345.0]))
    assert [1000 * low[0], 1000 * high[0]] == pytest.approx(
        [1.200155, 6.150395], abs=1e-6
    )
