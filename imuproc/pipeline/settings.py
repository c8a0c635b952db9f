"""Settings of the whole method, stage by stage, with a TOML form for people who change them."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from pathlib import Path
from typing import Any

from imuproc.conditioning.axes.calibration import CalibrationSettings
from imuproc.conditioning.clocks.tying import ClockSettings
from imuproc.conditioning.timebase import TimeBaseSettings
from imuproc.core.errors import SessionError
from imuproc.estimators.columns import EstimatorSettings
from imuproc.events.coarse import CoarseSettings
from imuproc.events.refined import RefineSettings
from imuproc.events.runs import RunSettings
from imuproc.events.unaided import UnaidedSettings
from imuproc.motion.settings import MotionSettings
from imuproc.pipeline.overview import LongSettings


@dataclass(frozen=True)
class Settings:
    """Every number that the method uses.

    Parameters
    ----------
    timebase : TimeBaseSettings
    clocks : ClockSettings
    runs : RunSettings
    calibration : CalibrationSettings
    coarse : CoarseSettings
    refine : RefineSettings
    unaided : UnaidedSettings
    motion : MotionSettings
    estimators : EstimatorSettings
    long : LongSettings
    """

    timebase: TimeBaseSettings = field(default_factory=TimeBaseSettings)
    clocks: ClockSettings = field(default_factory=ClockSettings)
    runs: RunSettings = field(default_factory=RunSettings)
    calibration: CalibrationSettings = field(default_factory=CalibrationSettings)
    coarse: CoarseSettings = field(default_factory=CoarseSettings)
    refine: RefineSettings = field(default_factory=RefineSettings)
    unaided: UnaidedSettings = field(default_factory=UnaidedSettings)
    motion: MotionSettings = field(default_factory=MotionSettings)
    estimators: EstimatorSettings = field(default_factory=EstimatorSettings)
    long: LongSettings = field(default_factory=LongSettings)


def read_settings(path: Path) -> Settings:
    """Settings from a TOML file that names only what differs from the defaults.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Settings

    Raises
    ------
    SessionError
        If the file cannot be read, or a key or a value is not allowed; the text names it.
    """
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SessionError(f"{path.name}: cannot be read as settings: {error}") from error
    settings: Settings = _merged(Settings(), content, path.name, "")
    return settings


def _merged(base: Any, given: Mapping[str, Any], file: str, prefix: str) -> Any:
    """A settings object with the given values in place of its own."""
    known = {item.name: getattr(base, item.name) for item in fields(base)}
    changed: dict[str, Any] = {}
    for key, value in given.items():
        where = f"{prefix}{key}"
        if key not in known:
            raise SessionError(f"{file}: unknown key {where}; allowed here: {', '.join(known)}")
        changed[key] = _value(known[key], value, file, where)
    return type(base)(**{**known, **changed})


def _value(current: Any, value: Any, file: str, where: str) -> Any:
    if is_dataclass(current):
        if not isinstance(value, dict):
            raise SessionError(f"{file}: {where} is {value!r}; it must be a table")
        return _merged(current, value, file, f"{where}.")
    wanted = (int, float) if isinstance(current, float) else (type(current),)
    if not isinstance(value, wanted) or isinstance(value, bool) != isinstance(current, bool):
        raise SessionError(
            f"{file}: {where} is {value!r}; it must be {type(current).__name__}, as {current!r} is"
        )
    return type(current)(value)
