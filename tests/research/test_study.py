"""A study of the demo log: its account, its extract, and what ends in one sentence."""

import base64
import hashlib
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import OutputError
from analysis.policy import Policy
from analysis.report.research import publish_study, read_study, sections
from analysis.report.research.words import ratio_words
from analysis.research import Extract, Study, run_study
from analysis.research.association import left_out
from analysis.research.coarsen import OTHER, coarsen
from analysis.research.columns import EXTRACT, STUDY
from analysis.research.curves import curve_table, duration_table
from analysis.research.extract import pseudonym
from analysis.research.factors import Factor
from analysis.research.risk import Risk
from analysis.research.secret import load_secret
from tests.test_cli import run
from tests.tiny import POLICY, Row, after, syringe, write_csv

DEMO = Path(__file__).parents[2] / "synthetic_data"
FILES = [DEMO / name for name in ("checks.csv", "infusions.csv", "lines.csv")]
KEY = b"a key that is in no file of the log"
START = "2026-06-10T14:00"


@pytest.fixture(scope="module")
def made() -> tuple[Study, Extract]:
    study, extract = run_study(FILES, Policy.load(DEMO / "policy.toml"), KEY)
    assert extract is not None
    return study, extract


@pytest.fixture(scope="module")
def folder(
    made: tuple[Study, Extract], tmp_path_factory: pytest.TempPathFactory
) -> Path:
    out = tmp_path_factory.mktemp("study") / "out"
    publish_study(*made, out, tables_only=True)
    return out


# --- the account ---


def test_rows_and_sites_add_up(made: tuple[Study, Extract]) -> None:
    study, extract = made
    for (unit, step), own in study.flow.groupby(["unit", "step"], sort=False):
        there = own["kept"].iloc[0] - own["dropped"].cumsum()
        assert own["kept"].tolist() == there.tolist(), (unit, step)
    judged = study.flow[study.flow["step"].str.startswith("judge")]
    assert judged["kept"].iloc[0] == study.sites == len(extract.sites)
    assert judged["kept"].iloc[-1] == (extract.sites["at_risk"] == "yes").sum()


def test_rows_read_lead_to_the_rows_of_the_check_log(
    made: tuple[Study, Extract],
) -> None:
    flow = made[0].flow[made[0].flow["unit"] == "rows"]
    read, assigned = (own["kept"] for _, own in flow.groupby("step", sort=False))
    assert read.iloc[-1] == assigned.iloc[0] < read.iloc[0]


def test_ends_of_watching_add_up_to_the_sites_at_risk(
    made: tuple[Study, Extract],
) -> None:
    study, extract = made
    own = extract.sites[extract.sites["at_risk"] == "yes"]
    ends = study.ends.set_index("end")
    seen = own["end"].value_counts().reindex(ends.index, fill_value=0)
    assert ends["sites"].tolist() == seen.tolist()
    assert ends["sites"].sum() == len(own)
    is_placed = own["hours_from"] == "placement"
    assert ends["not_placed"].sum() == (~is_placed).sum() > 0
    assert ends["late"].sum() == (is_placed & (own["entry_h"] > 0)).sum() > 0
    assert ends["exposure_days"].sum() == pytest.approx(
        study.rates["exposure_days"].iloc[0]
    )
    reacted = own[own["reaction"] == "yes"]
    gaps = reacted["end_h"] - reacted["clear_h"]
    assert ends.loc["reaction", "never_clear"] == gaps.isna().sum()
    assert ends.loc["reaction", "median_gap_h"] == pytest.approx(gaps.median(), abs=0.1)
    assert ends.loc["reaction", "longest_gap_h"] == pytest.approx(gaps.max(), abs=0.1)
    assert "How the watching of the sites at risk ended" in shown(study)


def test_the_extract_gives_the_same_rate(made: tuple[Study, Extract]) -> None:
    study, extract = made
    own = extract.sites[extract.sites["at_risk"] == "yes"]
    rate = study.rates.iloc[0]
    assert (own["reaction"] == "yes").sum() == rate["events"]
    hours = (own["end_h"] - own["entry_h"]).sum()
    assert hours / 24 == pytest.approx(rate["exposure_days"], abs=0.01)
    periods = extract.periods
    assert (periods["to_h"] - periods["from_h"]).sum() == pytest.approx(hours, abs=1)
    assert (periods["reaction"] == "yes").sum() == rate["events"]


def test_every_definition_has_its_own_rates(made: tuple[Study, Extract]) -> None:
    study, _ = made
    whole = study.rates[
        (study.rates["ward"] == "all") & (study.rates["period"] == "all")
    ]
    events = whole.set_index("definition")["events"]
    assert events["any sign"] >= events["policy"] >= events["policy, no removals"]
    assert events["two signs"] >= events["two signs, no removals"]
    assert len(events) == len(study.definitions) == 7


def test_every_definition_accounts_for_every_site(
    made: tuple[Study, Extract],
) -> None:
    study = made[0]
    table = study.definitions
    parts = table[["at_risk", "prevalent", "not_judged"]].sum(axis=1)
    assert (parts == study.sites).all()
    page = sections.defined(study).html
    heads = re.findall(r"<th[^>]*>\s*([^<]*?)\s*</th>", page)
    rows = re.findall(r"(?s)<tr[^>]*>(.*?)</tr>", page)
    first = next(row for row in rows if "<td" in row)
    cells = re.findall(r"(?s)<t[dh][^>]*>\s*(.*?)\s*</t[dh]>", first)
    place = heads.index("left out otherwise")
    assert cells[place] == str(table["not_judged"].iloc[0]) != "0"
    assert cells[place - 1] == str(table["prevalent"].iloc[0])
    assert "nobody<br>at risk" in page


def test_notes_count_the_sites_that_were_derived_or_not_placed(
    made: tuple[Study, Extract],
) -> None:
    study, extract = made
    own = extract.sites
    derived = (own["derived"] == "yes").sum()
    late = (own["entry_h"] > 0).sum()
    away = ((own["hours_from"] == "first look") & (own["at_risk"] == "yes")).sum()
    assert min(derived, late, away) > 0
    said = " ".join(study.notes)
    assert f"sites without an id in the export: {derived}." in said
    assert f"Sites in place before the log began: {late}." in said
    assert f"Sites at risk whose placement is not known: {away}." in said


def test_the_key_is_said_to_join_extracts(folder: Path) -> None:
    assert "give each study a key of its own (--secret)" in (
        sections.extract(str(folder)).html
    )


def test_it_is_read_back_as_it_was_published(
    made: tuple[Study, Extract], folder: Path
) -> None:
    study, again = made[0], read_study(folder)
    assert again.notes == study.notes
    for table in STUDY:
        one, two = getattr(study, table.name), getattr(again, table.name)
        assert len(one) == len(two)
        assert list(two.columns) == table.names
    assert again.rates["events"].tolist() == study.rates["events"].tolist()


def test_the_page_of_a_study_read_back_is_that_of_the_study(
    made: tuple[Study, Extract], folder: Path
) -> None:
    # Numbers are read back to their printed decimals, and may be rounded otherwise.
    pages = [
        re.sub(r'src="[^"]*"|[\d.]+', "", shown(study))
        for study in (made[0], read_study(folder))
    ]
    assert pages[1] == pages[0]
    assert not re.search(r"\bnan\b", pages[1])


def test_the_same_log_and_key_give_the_same_bytes(
    made: tuple[Study, Extract], folder: Path, tmp_path: Path
) -> None:
    publish_study(*made, tmp_path / "again", tables_only=True)
    for path in sorted(folder.rglob("*.csv")):
        other = tmp_path / "again" / path.relative_to(folder)
        assert other.read_bytes() == path.read_bytes()


def test_the_page_says_association_and_no_cause(made: tuple[Study, Extract]) -> None:
    study = made[0]
    parts = (
        sections.in_short,
        sections.defined,
        sections.flow,
        sections.rates,
        sections.time_to_reaction,
        sections.lasting,
        sections.association,
        sections.policy_in_force,
    )
    page = "".join(part(study).html for part in parts)
    assert "associated with" in page
    assert not re.search(r"\b(caused|due to|blame|risk factor)\b", page)
    assert page.count("<img") == page.count('alt="') > 3


def test_the_first_screen_says_what_to_do_next(
    made: tuple[Study, Extract], folder: Path
) -> None:
    said = sections.next_steps(made[0], str(folder)).html
    assert "by the seven of this study that give one it is 21 to 153 per 1,000" in said
    assert "137 sites, 136 of them in rates and 129 in curves" in said
    assert "approval before the folder extract/ leaves" in said
    assert "extract/" not in sections.next_steps(made[0], "").html


def test_a_model_that_nothing_was_estimated_by_has_no_column(
    made: tuple[Study, Extract],
) -> None:
    study = made[0]
    assert study.associations["joint_ratio"].isna().all()
    assert "all together, by patient" not in sections.association(study).html
    some = study.associations.assign(joint_ratio=2.0, joint_low=1.0, joint_high=4.0)
    page = sections.association(replace(study, associations=some)).html
    assert "all together, by patient" in page


@pytest.mark.parametrize(
    ("tested", "says"),
    [
        pytest.param({}, "not tested; nothing has enough", id="nothing tested"),
        pytest.param(
            {"ward": 0.2, "volume": 0.06}, "tested for 2 of the", id="no difference"
        ),
        pytest.param(
            {"volume": 0.0001, "ward": 0.2},
            "early and late for volume (P under 0.001)",
            id="a number",
        ),
        pytest.param({"ward": 0.01}, "early and late for ward (P 0.010)", id="a word"),
    ],
)
def test_proportional_hazards_are_said_of_what_was_tested(
    made: tuple[Study, Extract], tested: dict[str, float], says: str
) -> None:
    table = made[0].associations
    assert {"ward", "volume"} <= set(table["factor"])
    table = table.assign(p_changes=table["factor"].map(tested).astype("float64"))
    page = sections.association(replace(made[0], associations=table)).html
    [said] = re.findall(r"Proportional hazards: [^<]*", page)
    assert says in said
    found = [factor for factor, p in tested.items() if p < 0.05]
    assert ("read it as a mean" in said) == bool(found)
    assert all(factor not in said for factor in set(tested) - set(found))


def test_the_demo_names_the_ratio_that_changes(made: tuple[Study, Extract]) -> None:
    table = made[0].associations
    p = table.drop_duplicates("factor").set_index("factor")["p_changes"].dropna()
    page = sections.association(made[0]).html
    assert f"tested for {len(p)} of the" in page
    assert p["concentration: haloperidol"] < 0.05
    assert "late for concentration: haloperidol (P 0.049)" in page


# --- the extract ---


def read_all(folder: Path) -> dict[str, str]:
    return {
        path.name: path.read_text(encoding="utf-8")
        for path in sorted((folder / "extract").iterdir())
    }


def named_in_the_log(files: list[Path] | None = None) -> set[str]:
    """Give whatever in the inputs points at a person, a driver, a row or a text."""
    found: set[str] = set()
    for path in files or FILES:
        table = pd.read_csv(path, dtype=str, keep_default_na=False)
        for name in table.columns:
            if re.search(r"_id$|_by$|note|alarm|action|contents", name):
                found |= set(table[name]) - {""}
    return found


@pytest.fixture(scope="module")
def lettered(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Path], Path]:
    """Give the demo log with drivers that no number can be taken for, and its study."""
    base = tmp_path_factory.mktemp("lettered")
    files = []
    for path in FILES:
        table = pd.read_csv(path, dtype=str, keep_default_na=False)
        if "driver_id" in table:
            table["driver_id"] = "DRV" + table["driver_id"]
        files.append(base / path.name)
        table.to_csv(files[-1], index=False)
    study, extract = run_study(files, Policy.load(DEMO / "policy.toml"), KEY)
    publish_study(study, extract, base / "out", tables_only=True)
    return files, base / "out"


def let_out(folder: Path, names: set[str]) -> set[str]:
    """Give the names that stand in the extract: as a cell, or a word of any file."""
    found: set[str] = set()
    for name, text in read_all(folder).items():
        if name.endswith(".csv"):
            found |= set(re.split(r"[,\n]", text))
        found |= set(re.findall(r"[\w-]+", text))
    return found & names


def test_no_id_no_text_and_no_date_of_the_log_is_in_the_extract(
    lettered: tuple[list[Path], Path],
) -> None:
    files, folder = lettered
    names = named_in_the_log(files)
    drivers = {name for name in names if name.startswith("DRV")}
    assert len(names) > 500
    assert len(drivers) > 5
    assert set(read_all(folder)) == {"datapackage.json", "periods.csv", "sites.csv"}
    assert let_out(folder, names) == set()
    for name, text in read_all(folder).items():
        said = re.sub(r"sha256:[0-9a-f]{64}", "", text)
        assert not re.search(r"\d{1,2}:\d\d|\d{1,2}/\d{1,2}/", said), name
        assert not re.search(r"\b20\d\d-\d\d", text), name
        if name.endswith(".csv"):
            assert not re.search(r"20\d\d", text)
            columns = text.splitlines()[0].split(",")
            assert not {"driver", "note", "checked_by"} & set(columns)


@pytest.mark.parametrize("name", ["datapackage.json", "periods.csv", "sites.csv"])
def test_a_driver_in_any_file_of_the_extract_would_be_found(
    lettered: tuple[list[Path], Path], tmp_path: Path, name: str
) -> None:
    files, folder = lettered
    names = named_in_the_log(files)
    driver = min(each for each in names if each.startswith("DRV"))
    copy = shutil.copytree(folder, tmp_path / "copy") / "extract" / name
    copy.write_text(copy.read_text("utf-8") + f'"{driver}"\n', encoding="utf-8")
    assert let_out(tmp_path / "copy", names) == {driver}


def test_no_driver_number_of_the_demo_log_is_a_cell_of_its_extract(
    folder: Path,
) -> None:
    drivers = set(pd.read_csv(FILES[0], dtype=str)["driver_id"].dropna())
    assert all(name.isdigit() for name in drivers)
    for name in ("sites.csv", "periods.csv"):
        text = (folder / "extract" / name).read_text(encoding="utf-8")
        assert not set(re.split(r"[,\n]", text)) & drivers


def test_nobody_is_found_by_listing_without_the_key(folder: Path) -> None:
    """List every name of the inputs, hashed in every usual way, and look it up."""
    text = " ".join(read_all(folder).values())
    found = set(re.findall(r"\b[A-Z2-7]{16}\b", text))
    assert len(found) > 200
    tried: set[str] = set()
    for name in named_in_the_log():
        for kind in ("", "patient", "site", "patient\x1f", "site\x1f"):
            for salt in (b"", b"steadyfall"):
                plain = salt + f"{kind}{name}".encode()
                for way in (hashlib.md5, hashlib.sha1, hashlib.sha256, hashlib.sha512):
                    digest = way(plain).digest()
                    tried.add(base64.b32encode(digest).decode()[:16])
            tried.add(pseudonym(b"", kind.rstrip("\x1f"), name))
            tried.add(pseudonym(b"steadyfall", kind.rstrip("\x1f"), name))
    assert found & tried == set()
    # The test can fail: with the key, listing finds everybody.
    whole = {pseudonym(KEY, "patient", name) for name in named_in_the_log()}
    assert found & whole


def test_another_key_gives_other_names() -> None:
    assert pseudonym(KEY, "patient", "P1") != pseudonym(b"other", "patient", "P1")
    assert pseudonym(KEY, "patient", "P1") != pseudonym(KEY, "site", "P1")


def test_every_combination_has_enough_patients(made: tuple[Study, Extract]) -> None:
    extract = made[1]
    by = extract.sites.groupby(["ward", "location", "drugs"])["patient"].nunique()
    assert by.min() >= extract.least
    assert extract.sites.groupby("material")["patient"].nunique().min() >= extract.least
    owner = extract.sites.set_index("site")["patient"]
    periods = extract.periods.assign(patient=extract.periods["site"].map(owner))
    for names in (["ward", "drugs"], ["diluent"]):
        assert periods.groupby(names)["patient"].nunique().min() >= extract.least


def test_periods_do_not_give_away_what_is_coarse_of_a_site(
    made: tuple[Study, Extract],
) -> None:
    extract = made[1]
    for name in ("drugs", "ward"):
        hidden = extract.sites.loc[extract.sites[name] == OTHER, "site"]
        own = extract.periods[extract.periods["site"].isin(hidden)]
        assert set(own[name]) <= {OTHER}


@pytest.mark.parametrize(
    ("wards", "kept"),
    [
        pytest.param("AAABC", ".....", id="too few left over take the only other"),
        pytest.param("AAABBB", "AAABBB", id="enough of each"),
        pytest.param("AAAABBBC", "AAAA....", id="or the smallest of the others"),
        pytest.param("AAABCD", "AAA...", id="enough left over stand as other"),
        pytest.param("ABC", "...", id="enough in all, few of each"),
    ],
)
def test_words_are_coarsened(wards: str, kept: str) -> None:
    rows = pd.DataFrame({"patient": range(len(wards)), "ward": list(wards)})
    found = coarsen(rows, ["ward"], 3)["ward"].replace(OTHER, ".")
    assert "".join(found) == kept


def test_the_dictionary_is_a_data_package(folder: Path) -> None:
    package = json.loads((folder / "extract" / "datapackage.json").read_text("utf-8"))
    assert "not anonymous; needs local approval" in package["description"]
    assert [r["name"] for r in package["resources"]] == [t.name for t in EXTRACT]
    for resource in package["resources"]:
        path = folder / "extract" / resource["path"]
        table = pd.read_csv(path, dtype=str, keep_default_na=False)
        fields = resource["schema"]["fields"]
        assert list(table.columns) == [field["name"] for field in fields]
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        assert resource["hash"] == f"sha256:{digest}"
        for field in fields:
            cells = table[field["name"]]
            some = cells[cells != ""]
            if field["type"] in {"number", "integer"}:
                assert np.isfinite(pd.to_numeric(some)).all()
            allowed = field.get("constraints", {}).get("enum")
            assert allowed is None or set(some) <= set(allowed)
        keys = table[resource["schema"]["primaryKey"]]
        assert not keys.duplicated().any()


# --- the key ---


def test_a_key_is_made_for_its_owner_alone_and_kept(tmp_path: Path) -> None:
    path = tmp_path / "own" / "research.key"
    first = load_secret(path, tmp_path / "out")
    assert path.stat().st_mode & 0o077 == 0
    assert load_secret(path, tmp_path / "out") == first
    assert load_secret(tmp_path / "two.key", tmp_path / "out") != first


@pytest.mark.parametrize(
    ("name", "text", "mode", "says"),
    [
        pytest.param(
            "out/k", None, 0o600, "must not lie in", id="in the study's folder"
        ),
        pytest.param("k", "ab" * 32, 0o644, "others on this", id="others may read it"),
        pytest.param("k", "hello", 0o600, "is no key", id="not a key"),
        pytest.param("k", "ab", 0o600, "is no key", id="a key too short"),
        pytest.param(".", None, 0o700, "is a folder, and the key", id="a folder"),
    ],
)
def test_a_key_that_cannot_be_used(
    tmp_path: Path, name: str, text: str | None, mode: int, says: str
) -> None:
    path = tmp_path / name
    if text is not None:
        path.write_text(text, encoding="ascii")
        path.chmod(mode)
    with pytest.raises(OutputError, match=says):
        load_secret(path, tmp_path / "out")


# --- bad input ---


def study_of(
    tmp_path: Path, rows: list[Row], lines: list[Row] | None = None
) -> tuple[Study, Extract | None]:
    paths = [write_csv(tmp_path / "checks.csv", rows)]
    if lines:
        paths.append(write_csv(tmp_path / "lines.csv", lines))
    return run_study(paths, POLICY, KEY)


def patient(number: int, signs: dict[float, str], **cells: Any) -> list[Row]:
    rows = syringe(
        dict.fromkeys(signs),
        start=START,
        patient_id=f"P{number}",
        infusion_id=f"I{number}",
        driver_id=f"D{number}",
        site_id=f"CN{number}",
        **cells,
    )
    for row, sign in zip(rows, signs.values(), strict=True):
        row["site_signs"] = sign
    return rows


def shown(study: Study) -> str:
    parts = (
        sections.heading,
        sections.in_short,
        sections.rates,
        sections.time_to_reaction,
        sections.lasting,
        sections.association,
        sections.flow,
        sections.defined,
    )
    page = "".join(part(study).html for part in parts)
    return page + sections.next_steps(study, "").html


def test_no_site_columns_at_all(tmp_path: Path) -> None:
    rows = syringe({0: 16.0, 4: 13.3})
    study, extract = study_of(tmp_path, rows)
    assert extract is None
    assert study.rates["events"].sum() == 0
    assert "No rate is given. Not in this export" in shown(study)
    page = shown(study)
    assert page.count("Not in this export: it has no site_signs") >= 4
    assert "Export the check log again" in page
    assert "<img" not in page


def test_a_policy_by_which_nothing_is_a_reaction_gives_no_rate(tmp_path: Path) -> None:
    policy = replace(
        POLICY, reaction_signs=(), minor_signs=(), reaction_removal_reasons=()
    )
    rows = [row for n in range(6) for row in patient(n, {0: "none", 48: "redness"})]
    lines = [of_cannula(n) for n in range(6)]
    lines[0] |= {"removed_at": after(START, 40), "removal_reason": "routine"}
    paths = [
        write_csv(tmp_path / "checks.csv", rows),
        write_csv(tmp_path / "lines.csv", lines),
    ]
    study, _ = run_study(paths, policy, KEY)
    own = study.rates[study.rates["definition"] == "policy"]
    assert own["exposure_days"].sum() == 0
    assert own["rate_per_1000"].isna().all()
    page = shown(study)
    assert "No rate is given. Not in this policy" in page
    assert "Say in the policy what a reaction is" in page
    assert "Export the check log again" not in page


def test_no_reactions_have_an_upper_limit_only(tmp_path: Path) -> None:
    rows = [row for n in range(6) for row in patient(n, {0: "none", 48: "none"})]
    study, extract = study_of(tmp_path, rows)
    rate = study.rates.iloc[0]
    assert (rate["events"], rate["low"]) == (0, 0)
    # Garwood (1936): the upper limit of no event is 3.689.
    assert rate["high"] == pytest.approx(1000 * 3.6889 / 12, abs=0.1)
    page = shown(study)
    assert "0 (up to 307)" in page
    assert "Too few sites of a known placement were followed for a curve" in page
    assert "<img" not in page
    assert " 0 to 0 " not in page
    assert extract is not None


def test_all_sites_still_in_place(tmp_path: Path) -> None:
    rows = [row for n in range(6) for row in patient(n, {0: "none", 48: "none"})]
    lines = [
        {
            "line_id": f"CN{n}",
            "patient_id": f"P{n}",
            "kind": "cannula",
            "inserted_at": after(START, 0),
        }
        for n in range(6)
    ]
    study, _ = study_of(tmp_path, rows, lines)
    whole = study.durations[study.durations["group"] == "all"]
    assert whole["events"].sum() == 0
    assert whole["median_days"].isna().all()
    assert "no median time in place" in shown(study)


def test_one_patient(tmp_path: Path) -> None:
    study, extract = study_of(tmp_path, patient(1, {0: "none", 24: "redness"}))
    assert extract is None
    assert study.rates.iloc[0]["interval"] == "exact"
    page = shown(study)
    assert "1 first reaction in 1.0 site-days" in page
    assert "1 cannula site of 1 patient." in page
    # Removals alone give none, as no cannula is listed.
    assert "by the six of this study that give one it is 0 to 1000" in page
    assert "No site of a known placement was followed, so there is no median" in page
    assert "Not reached" not in page


def test_sites_that_differ_with_too_few_reactions_are_not_called_alike(
    tmp_path: Path,
) -> None:
    places = ("abdomen", "thigh", "chest", "back", "upper arm", "other")
    rows = [
        row
        for n, place in enumerate(places)
        for row in patient(
            n, {0: "none", 24: "redness"}, ward=f"Ward {n}", site_location=place
        )
    ]
    study, _ = study_of(tmp_path, rows, [of_cannula(n) for n in range(6)])
    assert study.associations.empty
    said = sections.association(study).html
    assert "differ in nothing that the log records, or in nothing that has five" in said


def test_nobody_at_risk_is_said_once(tmp_path: Path) -> None:
    rows = [row for n in range(6) for row in patient(n, {0: "redness", 4: "redness"})]
    study, _ = study_of(tmp_path, rows)
    said = sections.in_short(study).html
    assert "No site was at risk, so there is no rate." in said
    assert said.count("<li>") == 1


@pytest.mark.parametrize(
    ("outside", "looked_at", "says"),
    [
        pytest.param(
            0, 1, "leaves out 1: 0 of 1; chance alone would bring fewer than 1"
        ),
        pytest.param(
            1, 2, "leaves out 1: 1 of 2; chance alone would bring fewer than 1"
        ),
        pytest.param(1, 40, "leaves out 1: 1 of 40; chance alone would bring 2."),
    ],
)
def test_ratios_that_leave_out_1_are_counted_beside_what_chance_brings(
    made: tuple[Study, Extract], outside: int, looked_at: int, says: str
) -> None:
    rows = [made[0].associations.iloc[[3]]] * looked_at
    table = pd.concat(rows, ignore_index=True).assign(note="", low=0.5, high=2.0)
    table.loc[: outside - 1, "low"] = 1.5
    said = sections.in_short(replace(made[0], associations=table)).html
    assert says in said
    assert said.count("is associated with") == outside


def test_removal_before_insertion_is_named(tmp_path: Path) -> None:
    line = {
        "line_id": "CN1",
        "patient_id": "P1",
        "kind": "cannula",
        "inserted_at": after(START, 24),
        "removed_at": after(START, 2),
        "removal_reason": "reaction",
    }
    rows = patient(1, {0: "none", 24: "none"}) + patient(2, {0: "none", 24: "none"})
    study, _ = study_of(tmp_path, rows, [line])
    dropped = study.flow.set_index("reason")["dropped"]
    assert dropped["removed before it was fitted"] == 1
    assert study.rates.iloc[0]["events"] == 0


def test_one_site_for_five_syringes_is_one_site(tmp_path: Path) -> None:
    """Trap: five syringes, one reaction: 1 site, 1 event, about 5 site-days."""
    rows: list[Row] = []
    for day in range(5):
        rows += syringe(
            {0: 16.0, 23: 0.7},
            start=after(START, 24 * day)[:16],
            infusion_id=f"I{day}",
            site_id="CN1",
            site_signs="none",
        )
    rows[-1]["site_signs"] = "redness"
    rate = study_of(tmp_path, rows)[0].rates.iloc[0]
    assert rate["events"] == 1
    assert rate["exposure_days"] == pytest.approx(5, abs=0.1)


def test_a_removal_for_redness_lies_between_the_last_clear_check_and_it(
    tmp_path: Path,
) -> None:
    """Trap: removed at 20 h for redness; the event lies between two times."""
    lines = [
        {
            "line_id": f"CN{n}",
            "patient_id": f"P{n}",
            "kind": "cannula",
            "inserted_at": after(START, 0),
            "removed_at": after(START, 20),
            "removal_reason": "reaction",
        }
        for n in range(5)
    ]
    clear = dict.fromkeys((0.0, 8.0, 16.0), "none")
    rows = [row for n in range(5) for row in patient(n, clear)]
    _, extract = study_of(tmp_path, rows, lines)
    assert extract is not None
    site = extract.sites.iloc[0]
    assert site["clear_h"] == pytest.approx(16)
    assert site["end_h"] == pytest.approx(20)
    assert (site["reaction"], site["end"]) == ("yes", "reaction")


def of_cannula(number: int, **cells: Any) -> Row:
    return {
        "line_id": f"CN{number}",
        "patient_id": f"P{number}",
        "kind": "cannula",
        "inserted_at": after(START, 0),
        **cells,
    }


def test_wards_that_no_reaction_compares_are_not_tested(tmp_path: Path) -> None:
    """The one reaction comes when nobody else is watched: a variance of nothing."""
    rows = patient(0, {0: "none", 24: "none", 48: "redness"})
    for n in range(1, 24):
        ward = "Alder Ward" if n < 12 else "Birch Ward"
        rows += patient(n, {0: "none", 4 * (1 + n % 6): "none"}, ward=ward)
    study, _ = study_of(tmp_path, rows, [of_cannula(n) for n in range(24)])
    [test] = study.tests.to_dict("records")
    assert np.isnan(test["chi_square"])
    assert test["note"].startswith("not tested: the reactions do not compare every")
    assert "groups: not tested: the reactions do not" in shown(study)


def test_a_ratio_with_no_reaction_beside_it_is_no_number() -> None:
    assert ratio_words(np.inf, 0.03, np.inf) == "no reaction beside it (0.03 or more)"
    assert ratio_words(2.0, 0.5, np.inf) == "2.00 (0.50 to no upper limit)"


def test_patients_who_are_all_alike_have_no_limits_by_patient(tmp_path: Path) -> None:
    """Thirty patients, each with a reaction after a day; no warning is left behind."""
    rows = [row for n in range(30) for row in patient(n, {0: "none", 24: "redness"})]
    kinds = ("plastic", "metal")
    lines = [of_cannula(n, material=kinds[n % 2]) for n in range(30)]
    study, _ = study_of(tmp_path, rows, lines)
    [test] = study.tests.to_dict("records")
    assert test["note"].startswith("not tested")
    material = study.associations[study.associations["factor"] == "cannula material"]
    assert material["ratio"].isna().all()
    assert material["note"].str.contains("patients do not differ").all()
    assert "patients do not differ" in shown(study)


def removed_after(
    days: list[float], entered: list[float] | None = None
) -> pd.DataFrame:
    """Give sites removed after so many days, as `site_times` does."""
    names = [f"S{n}" for n in range(len(days))]
    return pd.DataFrame(
        {
            "patient_id": names,
            "ward": "Alder Ward",
            "location": "thigh",
            "material": "",
            "end": "removal",
            "entry": entered or 0.0,
            "time": days,
            "is_reaction": False,
            "clear": days,
            "seen": np.inf,
            "gone": days,
            "leaves": "removal",
        },
        index=pd.Index(names, name="site"),
    )


@pytest.mark.parametrize(
    ("days", "entered", "median", "note"),
    [
        pytest.param(
            [*range(1, 11)],
            None,
            6.0,
            "",
            id="ten sites, five at risk by then",
        ),
        pytest.param(
            [*range(1, 10)], None, 5.0, "", id="nine, five at risk at the fifth day"
        ),
        pytest.param(
            [*range(1, 9)], None, None, "fewer than 5", id="eight: four at risk by then"
        ),
        pytest.param(
            [1, *range(12, 32)],
            [0, *[10] * 20],
            None,
            "fewer than 5",
            id="one alone is removed before the others come in: a curve of nothing",
        ),
    ],
)
def test_no_median_is_read_off_a_tail(
    days: list[float], entered: list[float] | None, median: float | None, note: str
) -> None:
    table = duration_table(removed_after(days, entered))
    row = table.set_index("until").loc["removal"]
    assert note in row["note"]
    assert bool(note) == bool(row["note"])
    if median is None:
        assert row[["median_days", "high_days"]].isna().all()
    else:
        assert row["median_days"] == median
    curves = curve_table(removed_after(days, entered))
    own = curves[curves["curve"] == "in place"]
    assert own["estimate"].min() > 0
    assert (own["at_risk"].iloc[1:] >= 5).all()


def test_a_cell_of_medians_is_short_and_the_reason_stands_below(
    made: tuple[Study, Extract],
) -> None:
    assert made[0].durations["note"].str.contains("fewer than 5 sites").any()
    page = sections.lasting(made[0]).html
    cells = re.findall(r"<td[^>]*>(.*?)<br>", page, re.DOTALL)
    assert {"not given", "not reached"} <= {cell.split(" (")[0] for cell in cells}
    assert max(map(len, cells)) < 40
    assert "Not given: fewer than five sites were at risk by then" in page


def test_rows_after_a_charted_removal_are_counted(tmp_path: Path) -> None:
    rows = patient(0, {0: "none", 24: "none", 30: "redness", 48: "none"})
    gone = of_cannula(0, removed_at=after(START, 26), removal_reason="routine")
    study, _ = study_of(tmp_path, rows, [gone])
    assigned = study.flow[study.flow["step"].str.startswith("assign")]
    dropped = assigned.set_index("reason")["dropped"]
    assert dropped["later than the removal charted for their site"] == 2
    assert assigned["kept"].tolist() == [4, 4, 2]
    assert study.rates.iloc[0]["events"] == 0


@pytest.mark.parametrize(
    ("signs", "dropped"),
    [
        pytest.param({0: "none", 10: "redness", 48: "none"}, 1, id="before it"),
        pytest.param({0: "redness", 48: "none"}, 1, id="at the first look, before it"),
        pytest.param({0: "none", 24: "redness"}, 0, id="as it was fitted"),
        pytest.param({0: "none", 30: "redness"}, 0, id="after it"),
    ],
)
def test_a_reaction_charted_before_the_cannula_was_fitted_is_named(
    tmp_path: Path, signs: dict[float, str], dropped: int
) -> None:
    rows = patient(0, signs) + patient(1, {0: "none", 48: "none"})
    lines = [of_cannula(0, inserted_at=after(START, 24)), of_cannula(1)]
    study, _ = study_of(tmp_path, rows, lines)
    found = study.flow.set_index("reason")["dropped"]
    assert found.get("reaction charted before it was fitted", 0) == dropped


def test_what_all_factors_together_leave_out_is_counted() -> None:
    rows = pd.DataFrame({"days": [1.0, 2.0, 3.5], "event": [0, 1, 1]})
    nothing = pd.DataFrame()
    contents = pd.Series(dtype="str")
    risk = Risk(rows=rows, drugs=nothing, contents=contents, not_placed=0)
    factors = [
        Factor(
            name=name,
            values=pd.Series(values, dtype="str"),
            is_number=False,
            levels=("a", "b"),
            reference="a",
        )
        for name, values in (("one", ["a", None, "b"]), ("two", ["a", "b", "b"]))
    ]
    said = left_out(risk, tuple(factors))
    assert said.startswith("2.0 of 6.5 site-days and 1 of 2 reactions are left out")
    assert left_out(risk, (factors[1],)) == ""


# --- the command ---


def test_the_command_writes_tables_and_extract(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out, key = tmp_path / "study", tmp_path / "k.key"
    args = ["research", *map(str, FILES), "--out", str(out), "--secret", str(key)]
    args += ["--policy", str(DEMO / "policy.toml"), "--tables-only"]
    status, said, _ = run(monkeypatch, capsys, *args)
    assert status == 0
    assert "137 cannula sites of 99 patients" in said
    assert "not anonymous" in said
    assert sorted(p.name for p in out.iterdir()) == ["extract", "run.json", "tables"]
    (out / "mine.txt").write_text("do not touch", encoding="utf-8")
    status, _, errors = run(monkeypatch, capsys, *args)
    assert (status, errors.count("\n")) == (2, 1)
    assert "mine.txt" in errors


@pytest.mark.parametrize(
    ("more", "says"),
    [
        pytest.param(["--smallest", "2"], "wants at least 5", id="too small a group"),
        pytest.param(["--policy", "none.toml"], "none.toml", id="no such policy"),
    ],
)
def test_a_study_that_cannot_be_made_writes_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    more: list[str],
    says: str,
) -> None:
    out, key = tmp_path / "study", tmp_path / "k.key"
    args = ["research", str(FILES[0]), "--out", str(out), "--secret", str(key), *more]
    status, _, errors = run(monkeypatch, capsys, *args)
    assert (status, errors.count("\n")) == (2, 1)
    assert says in errors
    assert not out.exists()
    assert not key.exists()
