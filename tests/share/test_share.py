"""What is shared names nobody, and nothing held back can be had by subtraction."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.audit import AuditResult, run_audit
from analysis.compliance import Units
from analysis.errors import OutputError
from analysis.policy import Policy
from analysis.report import publish
from analysis.share import MEASURES, Summary, pool_wards, share, summarise
from analysis.share.asked import ask_first, is_silent

DEMO = Path(__file__).parents[2] / "synthetic_data"
MONTH = "2026-10"


@pytest.fixture(scope="module")
def result() -> AuditResult:
    exports = [DEMO / name for name in ("checks.csv", "infusions.csv", "lines.csv")]
    return run_audit(exports, Policy.load(DEMO / "policy.toml"), month=MONTH)


@pytest.fixture(scope="module")
def folder(result: AuditResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("report") / MONTH
    publish(result, out, tables_only=True)
    return out


def people(**wards: str) -> pd.DataFrame:
    """Give the patients of wards, a letter each."""
    pairs = [(ward, one) for ward, ones in wards.items() for one in ones]
    return pd.DataFrame(pairs, columns=pd.Index(["ward", "patient_id"]))


@pytest.mark.parametrize(
    ("wards", "groups"),
    [
        pytest.param({"A": "abc", "B": "def"}, ["A", "B"], id="enough in each"),
        pytest.param(
            {"A": "ab", "B": "def", "C": "ghij"},
            ["A + B", "C"],
            id="a small one joins the next smallest",
        ),
        pytest.param(
            {"A": "a", "B": "b", "C": "c", "D": "defg"},
            ["A + B + C", "D"],
            id="until the pool passes",
        ),
        pytest.param(
            {"A": "ab", "B": "ab", "C": "cdef"},
            ["A + B + C"],
            id="a patient of two wards counts once",
        ),
        pytest.param({"A": "a", "B": "b"}, [], id="too few in all"),
    ],
)
def test_wards_are_pooled(wards: dict[str, str], groups: list[str]) -> None:
    assert sorted(set(pool_wards(people(**wards), 3).values())) == groups


def test_a_summary_of_another_month_is_not_replaced(
    folder: Path, tmp_path: Path
) -> None:
    out = tmp_path / "shared"
    page = share(folder, out)
    assert share(folder, out) == page  # of the same month it is
    table = out / "tables" / "summary.csv"
    table.write_text(table.read_text("utf-8").replace(MONTH, "2026-09"), "utf-8")
    kept = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
    with pytest.raises(OutputError, match=r"summary of 2026-09, .* of 2026-10; choose"):
        share(folder, out)
    assert {p: p.read_bytes() for p in out.rglob("*") if p.is_file()} == kept
    table.unlink()
    with pytest.raises(OutputError, match="a month that cannot be told"):
        share(folder, out)
    assert page.read_bytes() == kept[page]


# --- nobody is named ---


def identifiers(result: AuditResult) -> set[str]:
    """Collect whatever in the input points at a person, a device, a day or a row."""
    found: set[str] = set()
    frames = (result.readings, result.infusions, result.findings, result.units)
    for frame in frames:
        for name in frame:
            if re.search(
                r"_id$|_by$|source|sentence|note|amends|alarm|action", str(name)
            ):
                found |= {str(value) for value in frame[name].dropna()}
            if isinstance(frame[name].dtype, pd.DatetimeTZDtype):
                moments = frame[name].dropna()
                for form in ("%Y-%m-%d", "%d/%m/%Y", "%d %B %Y", "%d %b %Y", "%H:%M"):
                    found |= set(moments.dt.strftime(form))
    return found - {""}


def test_no_identifier_of_the_input_occurs(
    result: AuditResult, folder: Path, tmp_path: Path
) -> None:
    named = identifiers(result)
    assert len(named) > 3000
    assert {"Q26713", "BRA-0001", "3907", "BRA01"} <= named
    share(folder, tmp_path / "shared")
    for path in (p for p in (tmp_path / "shared").rglob("*") if p.is_file()):
        text = path.read_text("utf-8")
        body = re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL)
        words = set(re.split(r"[^\w./:-]+", body)) | {body}
        assert named & words == set()
        assert [n for n in named if len(n) > 5 and n in body] == []


# --- nothing by subtraction ---


def made_up(seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Make a month of wards of very different sizes and shares."""
    rng = np.random.default_rng(seed)
    units, infusions = [], []
    for place, size in enumerate(rng.integers(1, 14, size=7)):
        for one in range(size):
            whose = {
                "ward": f"W{place}",
                "month": MONTH,
                "patient_id": f"{place}-{one}",
            }
            for measure in MEASURES:
                for _ in range(rng.integers(0, 5)):
                    counted = float(rng.random() < rng.choice([0.1, 0.5, 0.97]))
                    units.append(
                        {
                            **whose,
                            "measure": measure,
                            "tally": "counted" if counted else "not counted",
                            "numerator": counted,
                            "denominator": 1.0,
                        }
                    )
            infusions += [
                {
                    **whose,
                    "evaluable": "yes" if rng.random() < 0.9 else "no",
                    "kind": "stall" if rng.random() < 0.2 else None,
                }
                for _ in range(rng.integers(1, 4))
            ]
    table = pd.DataFrame(units)
    own = table["measure"].isin({"infusions_evaluable", "delivery_findings"})
    return table[~own], pd.DataFrame(infusions)


class Account:
    """The published numbers as sums over atoms: one atom a patient, measure and side.

    A sum is a row of zeros and ones; what an attacker can work out by adding and
    subtracting published numbers is the row space of the published rows.
    """

    def __init__(self, units: pd.DataFrame, infusions: pd.DataFrame) -> None:
        is_evaluable = infusions["evaluable"] == "yes"
        flagged = is_evaluable & infusions["kind"].notna()
        # Both measures of infusions are sums over the same three kinds of infusion.
        side = np.select(
            [~is_evaluable, flagged], ["not evaluable", "flagged"], "plain"
        )
        runs = infusions[["ward", "patient_id"]].assign(what="infusion", side=side, n=1)
        own = units[["ward", "patient_id"]].assign(
            what=units["measure"],
            side=np.where(units["numerator"] > 0, "in", "out"),
            n=units["denominator"],
        )
        keys = ["ward", "patient_id", "what", "side"]
        self.atoms = pd.concat([runs, own]).groupby(keys)["n"].sum().reset_index()

    def row(self, wards: set[str], measure: str, side: str) -> np.ndarray:
        """Give a count as a row over the atoms: what is counted, or the rest."""
        what, sides = measure, {side}
        if measure == "infusions_evaluable":
            what = "infusion"
            sides = {"plain", "flagged"} if side == "in" else {"not evaluable"}
        elif measure == "delivery_findings":
            what, sides = "infusion", {"flagged"} if side == "in" else {"plain"}
        atoms = self.atoms
        mine = atoms["ward"].isin(wards) & (atoms["what"] == what)
        return (mine & atoms["side"].isin(sides)).to_numpy(float)

    def patients(self, row: np.ndarray) -> int:
        """Count the patients behind a row."""
        return int(self.atoms.loc[row > 0, "patient_id"].nunique())

    def published(self, summary: Summary) -> np.ndarray:
        """Give the published numbers as rows, each checked against what it says."""
        rows = []
        for line in summary.figures.to_dict("records"):
            if line["shown"] != "figures":
                assert np.isnan([line[n] for n in ("counted", "judged", "low")]).all()
                continue
            wards = {w for w, g in summary.groups.items() if g == line["wards"]}
            inside = self.row(wards, str(line["measure"]), "in")
            rest = self.row(wards, str(line["measure"]), "out")
            amounts = self.atoms["n"].to_numpy(float)
            assert line["counted"] == pytest.approx(inside @ amounts)
            assert line["judged"] == pytest.approx((inside + rest) @ amounts)
            rows += [inside, rest]
        return np.array(rows)


@pytest.mark.parametrize("seed", range(6))
def test_no_small_count_can_be_had_by_adding_and_subtracting(seed: int) -> None:
    least = 4
    units, infusions = made_up(seed)
    account = Account(units, infusions)
    summary = summarise(units, infusions, MONTH, least)
    published = account.published(summary)
    rank = np.linalg.matrix_rank(published)
    groups: list[set[str]] = [
        {w for w, g in summary.groups.items() if g == name}
        for name in set(summary.groups.values())
    ]
    wards: list[set[str]] = [{ward} for ward in summary.groups]
    tried = 0
    for some in (*groups, *wards, set(summary.groups)):
        for measure in MEASURES:
            sides = [account.row(some, measure, side) for side in ("in", "out")]
            for row in (*sides, sides[0] + sides[1]):
                if not 0 < account.patients(row) < least:
                    continue
                tried += 1
                together = np.vstack([published, row])
                assert np.linalg.matrix_rank(together) > rank, (some, measure)
    assert tried >= 10  # the logs do hold small counts


def test_the_attack_works_where_a_total_is_published() -> None:
    # The test above can fail: with a total over groups a line held back is had.
    units, infusions = made_up(1)
    account = Account(units, infusions)
    summary = summarise(units, infusions, MONTH, 4)
    hidden = summary.figures[
        summary.figures["shown"].str.startswith("fewer")
        & ~summary.figures["measure"].str.startswith("infusions")
    ]
    group, measure = hidden[["wards", "measure"]].iloc[0]
    wards = {w for w, g in summary.groups.items() if g == group}
    row = account.row(wards, measure, "in")
    others = account.row(set(summary.groups) - wards, measure, "in")
    published = np.vstack([account.published(summary), row + others, others])
    rank = np.linalg.matrix_rank(published)
    assert np.linalg.matrix_rank(np.vstack([published, row])) == rank


def test_numbers_of_patients_are_in_steps_and_only_beside_figures() -> None:
    units, infusions = made_up(2)
    figures = summarise(units, infusions, MONTH, 4).figures
    is_shown = figures["shown"] == "figures"
    said = figures.loc[is_shown, "patients_concerned"]
    assert said.str.fullmatch(r"none|(4|8|12|16|20|24|28) or more").all()
    assert (figures.loc[~is_shown, "patients_concerned"] == "").all()


# --- where it goes ---


def test_refusals_are_one_sentence_and_write_nothing(
    folder: Path, tmp_path: Path
) -> None:
    full = tmp_path / "full"
    full.mkdir()
    (full / "mine.txt").write_text("mine", encoding="utf-8")
    damaged = tmp_path / "damaged"
    damaged.mkdir()
    (damaged / "run.json").write_text('{"month": ', encoding="utf-8")
    ours = "is not a folder written by steadyfall audit: "
    cases = [
        (tmp_path / "absent", tmp_path / "new", None, "absent: no such folder$"),
        (full, tmp_path / "new", None, f"{ours}it has no run.json$"),
        (full / "mine.txt", tmp_path / "new", None, f"{ours}it has no run.json$"),
        (damaged, tmp_path / "new", None, f"{ours}its run.json is damaged$"),
        (folder, folder / "shared", None, "must not lie beside rows about persons"),
        (folder, folder.parent, None, "must not lie beside rows about persons"),
        (folder, full, None, "holds mine.txt"),
        (folder, full / "mine.txt", None, "is a file"),
        (folder, tmp_path / "new", 2, "the policy wants at least 5"),
        (folder, tmp_path / "new", 500, "fewer than 500 patients in all"),
    ]
    for source, out, least, says in cases:
        with pytest.raises(OutputError, match=says) as caught:
            share(source, out, least)
        assert "\n" not in str(caught.value)
    assert not (tmp_path / "new").exists()
    assert [p.name for p in full.iterdir()] == ["mine.txt"]


def test_a_summary_replaces_an_older_one(folder: Path, tmp_path: Path) -> None:
    first = share(folder, tmp_path / "shared").read_bytes()
    assert share(folder, tmp_path / "shared").read_bytes() == first
    assert [p.name for p in tmp_path.iterdir()] == ["shared"]


# --- what to ask about first ---


def figures_of(*rows: tuple[str, str, str, float]) -> pd.DataFrame:
    """Give figures: group, measure, what is shown, upper limit."""
    return pd.DataFrame(rows, columns=pd.Index(["wards", "measure", "shown", "high"]))


def test_a_ward_is_asked_about_what_is_surest_to_fall_short() -> None:
    figures = figures_of(
        ("B", "covered_time", "figures", 98.0),
        ("B", "checks_on_time", "figures", 94.0),
        ("B", "site_reactions", "figures", 12.0),
        ("B", "lines_changed_in_time", "fewer than 5 patients concerned", 50.0),
        ("A", "covered_time", "figures", 100.0),
        ("C", "covered_time", "fewer than 5 patients judged", np.nan),
    )
    asked = ask_first(figures)
    assert list(asked) == ["A", "B", "C"]
    assert asked["B"] is not None
    assert asked["B"]["measure"] == "checks_on_time"
    assert asked["A"] is None
    assert asked["C"] is None
    assert [is_silent(figures, group) for group in "ABC"] == [False, False, True]


def test_seven_patients_have_shares_and_no_interval(
    result: AuditResult, tmp_path: Path
) -> None:
    units, infusions = result.units, result.infusions
    ward = "Lapwing Ward"
    mine = units[(units["ward"] == ward) & (units["month"] == MONTH)]
    seven = mine["patient_id"].dropna().unique()[:7]
    assert len(seven) == 7
    few = replace(
        result,
        unit_tables=Units.read(mine[mine["patient_id"].isin(seven)]),
        infusions=infusions[infusions["patient_id"].isin(seven)],
    )
    publish(few, tmp_path / MONTH, tables_only=True)
    page = share(tmp_path / MONTH, tmp_path / "shared").read_text("utf-8")
    assert "nan" not in re.split(r"\W+", page)
    assert "too few patients for an interval" in page
    asked = page[page.index('<h2 id="next">') :].partition("</ul>")[0]
    assert "too few patients for an interval; which charts" in asked
    assert "surely short" not in asked


def test_the_first_screen_says_no_number_that_the_tables_do_not(
    folder: Path, tmp_path: Path
) -> None:
    page = share(folder, tmp_path / "shared").read_text("utf-8")
    [said] = re.findall(r"<h2 id=\"next\">.*?</ul>", page, flags=re.DOTALL)
    tables = page.replace(said, "")
    numbers = re.findall(r"\d[\d.]* of \d[\d.]*|\d+ to \d+", said)
    assert len(numbers) >= 6
    assert [n for n in numbers if n not in tables] == []
