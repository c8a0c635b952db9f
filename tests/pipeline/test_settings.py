"""Settings from a file: only what differs is named, and what is not allowed is said."""

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from pydantic import ValidationError

from imuproc.core.errors import SessionError
from imuproc.events.runs import RunSettings
from imuproc.files.settings_model import (
    Setting,
    StageSettings,
    find_unit,
    list_settings,
    list_tables,
)
from imuproc.pipeline.settings import Settings, read_settings
from imuproc.pipeline.settings_text import write_settings_text


def all_settings(stage: StageSettings) -> list[Setting]:
    """Those of the tables in it, too, by their place."""
    inner = [
        replace(one, key=f"{name}.{one.key}")
        for name, table in list_tables(stage).items()
        for one in list_settings(table)
    ]
    return [*list_settings(stage), *inner]


TABLES = list_tables(Settings())
ALL = all_settings(Settings())


def settings_file(folder: Path, text: str) -> Path:
    path = folder / "settings.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_an_empty_file_means_the_defaults(tmp_path: Path) -> None:
    assert read_settings(settings_file(tmp_path, "")) == Settings()


def test_only_what_is_named_differs(tmp_path: Path) -> None:
    text = """
[calibration]
toe_out_deg = 7
[calibration.stillness]
window_s = 0.5
[estimators.phase]
least_drive_steps = 6
[refine.touchdown]
strike_u_s = [0.002, 0.003]
"""
    found = read_settings(settings_file(tmp_path, text))
    assert found.calibration.toe_out_deg == 7.0
    assert isinstance(found.calibration.toe_out_deg, float)
    assert found.calibration.stillness.window_s == 0.5
    assert found.estimators.phase.least_drive_steps == 6
    assert found.refine.touchdown.strike_u_s == (0.002, 0.003)
    assert found.calibration.stillness.shortest_s == Settings().calibration.stillness.shortest_s
    assert (found.motion, found.runs) == (Settings().motion, Settings().runs)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "toe_out_deg = 7",
            r"settings\.toml: toe_out_deg: found unknown key 'toe_out_deg'; allowed: 'sanity', .*"
            r"did you mean 'calibration\.toe_out_deg'\?",
        ),
        (
            "[calibration]\ntoe_out = 7",
            r"calibration\.toe_out: found unknown key 'toe_out'; .*did you mean 'toe_out_deg'\?",
        ),
        (
            '[calibration]\ntoe_out_deg = "7"',
            r"toe_out_deg: found the text '7'; allowed: a number from -45 to 45 deg$",
        ),
        ("[calibration]\ntoe_out_deg = true", r"toe_out_deg: found true; allowed: a number from"),
        (
            "[runs]\nleast_swing_radps = -5",
            r"settings\.toml: runs\.least_swing_radps: found the number -5; allowed: a number from "
            r"0\.5 to 40 rad/s$",
        ),
        ("[runs]\nmargin_s = nan", r"runs\.margin_s: found the number nan; allowed: a number from"),
        (
            "[estimators.phase]\nleast_drive_steps = 6.5",
            r"least_drive_steps: found the number 6\.5; allowed: a whole number from 0 to 20 steps",
        ),
        ("calibration = 3", r"calibration: found the number 3; allowed: a table"),
        ("[calibration", r"settings\.toml: this is not TOML"),
        (
            "[clocks.events]\nwindow_s = [0.4]",
            r"clocks\.events\.window_s: found a list of 1; allowed: a list of 2 numbers, each from "
            r"0\.05 to 2 s$",
        ),
        ("[clocks.events]\nwindow_s = 0.4", r"window_s: found the number 0\.4; allowed: a list of"),
        (
            "[clocks.events]\nwindow_s = [0.4, 9]",
            r"window_s: found \[0\.4, 9\]; allowed: a list",
        ),
        ('[clocks.events]\nwindow_s = [0.4, "1"]', r"window_s: found a list of 2; allowed: a list"),
        (
            "[refine.touchdown]\nshock_clear = [8, 3]",
            r"shock_clear: found \[8, 3\]; allowed: .* the first below the second",
        ),
        (
            "[runs]\nshortest_stride_s = 1.5",
            r"runs\.shortest_stride_s: found shortest_stride_s = 1\.5 with longest_stride_s = "
            r"0\.95; allowed: shortest_stride_s at most as large as longest_stride_s, both in s$",
        ),
        (
            "[calibration.standing]\nsearch_s = 90",
            r"settings\.toml: calibration\.standing\.search_s: found .*search_s = 90 with "
            r"long\.surroundings_s = 70; allowed: .* both in s",
        ),
    ],
)
def test_what_is_not_allowed_is_said(tmp_path: Path, text: str, expected: str) -> None:
    with pytest.raises(SessionError, match=expected):
        read_settings(settings_file(tmp_path, text))


def test_every_problem_of_a_file_is_told_at_once(tmp_path: Path) -> None:
    text = "[runs]\nmargin_s = -1\n[motion]\nhuber = 'no'\nslips = 3\n"
    with pytest.raises(SessionError) as told:
        read_settings(settings_file(tmp_path, text))
    assert [line.split(": ")[1] for line in str(told.value).splitlines()] == [
        "runs.margin_s",
        "motion.huber",
        "motion.slips",
    ]


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SessionError, match=r"none\.toml: there is no such file"):
        read_settings(tmp_path / "none.toml")


def test_a_file_of_bytes(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SessionError, match=r"a\.toml: line 1: .* not UTF-8"):
        read_settings(tmp_path / "a.toml")


def test_wrong_numbers_from_python_are_refused_as_well() -> None:
    with pytest.raises(ValidationError, match="least_swing_radps"):
        RunSettings(least_swing_radps=-5.0)
    with pytest.raises(ValidationError, match=r"found shortest_stride_s = 2 with longest"):
        RunSettings(shortest_stride_s=2.0)
    with pytest.raises(ValidationError, match="frozen"):
        Settings().runs.margin_s = 2.0  # type: ignore[misc]


# --- What is said of each number ------------------------------------------------------------------


def test_every_number_says_what_it_is() -> None:
    assert len(ALL) > 400
    assert len({setting.key for setting in ALL}) == len(ALL)
    for setting in ALL:
        assert setting.meaning.endswith("."), setting.key
        assert setting.basis, setting.key
        assert not setting.basis.endswith("."), setting.key
        assert setting.low < setting.high, setting.key


def test_every_unit_is_told_by_the_name_or_beside_it() -> None:
    ends = ("_share", "_ratio", "_log")
    for setting in ALL:
        name = setting.key.rpartition(".")[2]
        if setting.unit:
            assert setting.unit in setting.allowed, setting.key
        else:  # a pure number says so where its name does not
            assert name.endswith(ends) or find_unit(name) == "", setting.key


def test_defaults_are_allowed_and_both_ends_of_each_range_are_numbers() -> None:
    assert Settings.model_validate(Settings().model_dump()) == Settings()
    for setting in ALL:
        row = setting.value if isinstance(setting.value, tuple) else (setting.value,)
        assert all(setting.low <= one <= setting.high for one in row), setting.key
        assert math.isfinite(setting.low), setting.key
        assert math.isfinite(setting.high), setting.key


def test_every_number_can_be_set_from_a_file(tmp_path: Path) -> None:
    for setting in ALL:
        table, _, name = setting.key.rpartition(".")
        row = list(setting.value) if isinstance(setting.value, tuple) else setting.value
        text = f"[{table}]\n{name} = {row!r}\n"
        assert read_settings(settings_file(tmp_path, text)) == Settings(), setting.key


def test_pairs_that_may_contradict_each_other_exist() -> None:
    """A misspelt name in ``ordered`` would be found by the first file only."""
    pairs = [(stage, pair) for stage in TABLES.values() for pair in stage.ordered]
    assert len(pairs) > 20
    for stage, (first, second) in pairs:
        keys = {setting.key for setting in all_settings(stage)}
        assert {first, second} <= keys, type(stage).__name__


# --- As a file to start from ----------------------------------------------------------------------


def test_what_is_printed_reads_as_the_same_settings(tmp_path: Path) -> None:
    path = settings_file(tmp_path, write_settings_text(Settings()))
    assert read_settings(path) == Settings()
    changed = Settings(runs=RunSettings(margin_s=0.7))
    assert read_settings(settings_file(tmp_path, write_settings_text(changed))) == changed


def test_every_number_is_printed_once_with_what_is_known_of_it() -> None:
    text = write_settings_text(Settings())
    assert max(map(len, text.splitlines())) <= 100
    running = " ".join(line.removeprefix("# ") for line in text.splitlines())
    for setting in ALL:
        assert setting.meaning in running, setting.key
        assert f"Allowed: {setting.allowed}. Basis: {setting.basis}." in running, setting.key
    assert text.count("\n# Allowed: ") == len(ALL)


def test_one_stage_can_be_printed_by_itself(tmp_path: Path) -> None:
    text = write_settings_text(Settings(), "calibration.standing")
    assert list(tomllib.loads(text)["calibration"]) == ["standing"]
    with_inner = tomllib.loads(write_settings_text(Settings(), "motion"))
    assert {"slip", "rate", "levers", "huber"} <= with_inner["motion"].keys()
    assert read_settings(settings_file(tmp_path, text)) == Settings()


def test_an_unknown_stage_is_told_with_the_nearest() -> None:
    with pytest.raises(SessionError, match=r"found stage 'motoin'; .*did you mean 'motion'\?"):
        write_settings_text(Settings(), "motoin")
