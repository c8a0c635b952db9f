"""Settings from a file: only what differs is named, and what is not allowed is said."""

from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest

from imuproc.core.errors import SessionError
from imuproc.pipeline.settings import Settings, read_settings


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
drive_steps = 6
"""
    found = read_settings(settings_file(tmp_path, text))
    assert found.calibration.toe_out_deg == 7.0
    assert isinstance(found.calibration.toe_out_deg, float)
    assert found.calibration.stillness.window_s == 0.5
    assert found.estimators.phase.drive_steps == 6
    assert found.calibration.stillness.shortest_s == Settings().calibration.stillness.shortest_s
    assert (found.motion, found.runs) == (Settings().motion, Settings().runs)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("toe_out_deg = 7", r"settings\.toml: unknown key toe_out_deg; allowed here: timebase"),
        ("[calibration]\ntoe_out = 7", r"unknown key calibration\.toe_out; .*toe_out_deg"),
        ('[calibration]\ntoe_out_deg = "7"', r"calibration\.toe_out_deg is '7'; it must be float"),
        ("[calibration]\ntoe_out_deg = true", r"calibration\.toe_out_deg is True; it must be"),
        ("[estimators.phase]\ndrive_steps = 6.5", r"drive_steps is 6\.5; it must be int, as 8 is"),
        ("calibration = 3", r"calibration is 3; it must be a table"),
        ("[calibration", r"settings\.toml: cannot be read as settings"),
    ],
)
def test_what_is_not_allowed_is_said(tmp_path: Path, text: str, expected: str) -> None:
    with pytest.raises(SessionError, match=expected):
        read_settings(settings_file(tmp_path, text))


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SessionError, match=r"none\.toml: cannot be read as settings"):
        read_settings(tmp_path / "none.toml")


def test_a_file_of_bytes(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SessionError, match=r"a\.toml: cannot be read as settings"):
        read_settings(tmp_path / "a.toml")


def test_every_number_can_be_set_and_none_stands_in_two_places(tmp_path: Path) -> None:
    def numbers(part: object, prefix: str = "") -> list[str]:
        out = []
        for item in fields(part):  # type: ignore[arg-type]
            value = getattr(part, item.name)
            name = f"{prefix}{item.name}"
            out += numbers(value, f"{name}.") if is_dataclass(value) else [name]
        return out

    names = numbers(Settings())
    assert len(names) > 40
    for name in names:
        *path, last = name.split(".")
        value = Settings()
        for part in path:
            value = getattr(value, part)
        current = getattr(value, last)
        if isinstance(current, float | int):
            table = f"[{'.'.join(path)}]\n" if path else ""
            text = f"{table}{last} = {current}"
            assert read_settings(settings_file(tmp_path, text)) == Settings()
