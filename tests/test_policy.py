"""A policy is complete and exact, or one sentence names the file and every key."""

import os
from pathlib import Path

import pandas as pd
import pytest

from analysis.errors import PolicyError
from analysis.policy import Policy, example_text

OWN = '\n[wards."Rowan Team"]\nset_by = "team handbook"\n'


def changed(old: str, new: str) -> str:
    text = example_text()
    assert old in text
    return text.replace(old, new)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        pytest.param(
            changed("\ngrace_h = {", "\ngrase_h = {"),
            ["unknown key grase_h (did you mean grace_h?)", "missing key grace_h"],
            id="a misspelt key is unknown, and the right one is missing",
        ),
        pytest.param(
            changed("value = 4.0", 'value = "240 min"'),
            ["check_interval_h", "'240 min'", "a plain number"],
            id="a number with a unit in words",
        ),
        pytest.param(
            changed("value = 4.0", "value = 240"),
            ["check_interval_h", "240", "0.25 to 168"],
            id="minutes where hours belong",
        ),
        pytest.param(
            changed("value = 2.67", "value = 0.25"),
            ["missed_after_h", "shorter than grace_h"],
            id="missed before the grace is over",
        ),
        pytest.param(
            changed("value = 0.5, set_by", "value = 4.0, set_by"),
            ["grace_h", "not shorter than check_interval_h"],
            id="a grace as long as the interval",
        ),
        pytest.param(
            changed("[20.0, 15.0, 16.0]", "[20.0, 16.0, 15.0]"),
            ["start_volume_window_ml", "lowest first"],
            id="a window upside down",
        ),
        pytest.param(
            changed(
                'minor_signs = { value = ["bruising"]',
                'minor_signs = { value = ["pain"]',
            ),
            ["minor_signs", "pain stands in reaction_signs too"],
            id="a sign that is major and minor",
        ),
        pytest.param(
            changed('["bruising"]', '["itching"]'),
            ["minor_signs", "itching", "bruising"],
            id="a sign that is not in the list",
        ),
        pytest.param(
            changed(', set_by = "example; common practice on wards"', ""),
            ["check_interval_h", "set_by"],
            id="nobody set it",
        ),
        pytest.param(
            example_text() + OWN + "time_zone = 'UTC'\n",
            ['wards."Rowan Team"', "cannot set time_zone"],
            id="a ward with a limit that is not its own",
        ),
        pytest.param(
            example_text() + OWN + 'grace_h = "none"\n',
            ['wards."Rowan Team".grace_h', "none"],
            id="a ward that drops a grace",
        ),
        pytest.param(
            changed('other_evidence = { value = "yes"', "other_evidence = { value = 1"),
            ["other_evidence", '"yes" or "no"'],
            id="a switch that is neither yes nor no",
        ),
        pytest.param("grace_h = {", ["not valid TOML"], id="no TOML"),
        pytest.param("", ["name", "missing key time_zone"], id="an empty file"),
    ],
)
def test_what_is_wrong_is_named_with_file_and_key(text: str, says: list[str]) -> None:
    with pytest.raises(PolicyError) as error:
        Policy.parse(text, "my_policy.toml")
    message = str(error.value)
    assert message.startswith("my_policy.toml: ")
    assert len(message.splitlines()) == 1
    assert [word for word in says if word not in message] == []


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(PolicyError, match="no such policy file"):
        Policy.load(tmp_path / "none.toml")


def test_a_policy_that_is_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "policy.toml")
    with pytest.raises(PolicyError, match="a pipe or a device, and no file; save"):
        Policy.load(tmp_path / "policy.toml")


def test_the_example_says_that_it_is_one(tmp_path: Path) -> None:
    path = tmp_path / "copied.toml"
    path.write_text(example_text(), encoding="utf-8")
    assert Policy.example().is_example
    assert Policy.load(path).is_example
    assert Policy.example().whose.startswith("The shipped example policy was used")
    said = Policy.load(path).whose
    assert said.startswith("copied.toml is an unedited copy of the shipped example")
    path.write_text(example_text() + OWN, encoding="utf-8")
    assert not Policy.load(path).is_example
    assert Policy.load(path).whose == ""


def test_a_ward_decides_for_itself_and_may_have_no_rule() -> None:
    text = (
        example_text() + OWN + 'check_interval_h = "none"\nextension_set_life_h = 96\n'
    )
    policy = Policy.parse(text, "my_policy.toml")
    wards = pd.Series(["Rowan Team", "Alder Ward", "Rowan Team"])
    assert policy.by_ward("check_interval_h", wards).fillna(-1).tolist() == [-1, 4, -1]
    assert policy.by_ward("extension_set_life_h", wards).tolist() == [96, 72, 96]


def test_every_limit_is_listed_with_who_set_it() -> None:
    entries = Policy.parse(example_text() + OWN + "grace_h = 1\n", "p.toml").entries()
    assert entries["limit"].is_unique or entries["ward"].nunique() == 2
    assert (entries["set_by"] != "").all()
    own = entries[entries["ward"] == "Rowan Team"].iloc[0]
    assert own[["limit", "value", "set_by"]].tolist() == [
        "grace_h",
        "1",
        "team handbook",
    ]


def test_a_ward_of_the_policy_that_the_log_does_not_name_is_told() -> None:
    policy = Policy.parse(example_text() + OWN + "grace_h = 1.0\n", "test")
    assert policy.without_rows(["Rowan Team", "Alder"]) == ()
    (sentence,) = policy.without_rows(["Rowan team", "Alder"])
    assert "'Rowan Team'" in sentence
    assert "its wards are Alder, Rowan team" in sentence
