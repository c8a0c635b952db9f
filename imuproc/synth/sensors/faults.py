"""Faults of sensors and loggers put into a recording, each at three severities.

What is harmful is laid down here, by the physical size of a fault and before anything looks for it:
a fault is harmful from the size on at which figures would be wrong, were it ignored, by more than
they are usually uncertain: 3 deg, 10 ms, or 5 % of a length.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from imuproc.core.recording import Recording, SensorLog
from imuproc.core.sites import Site
from imuproc.synth.sensors.log_faults import (
    add_bias_jump,
    add_spikes,
    clip_accel,
    clip_gyro,
    clip_gyro_unstated,
    cut_gaps,
    drop_samples,
    freeze_axis,
    jitter_stamps,
    misread_unit,
    repeat_stamps,
    scale_gravity,
    slow_clock,
    swap_axes,
    thin_samples,
    turn_on_limb,
)
from imuproc.synth.sensors.repeated_samples import (
    repeat_at_touchdown,
    repeat_in_swing,
    repeat_often,
)

Spoil = Callable[[Recording, float, np.random.Generator], Recording]
SpoilLog = Callable[[SensorLog, float, np.random.Generator], SensorLog]


@dataclass(frozen=True)
class FaultKind:
    """One kind of fault.

    Parameters
    ----------
    name : str
    what : str
        What is done to the recording, for people.
    unit : str
        Of the severities.
    severities : tuple of float
        Mild, middle and strong.
    harmful_from : int
        The first severity that is harmful, counted from 0; 3 where none is.
    spoil : callable
        ``(Recording, severity, rng) -> Recording``, the given one left as it is.
    """

    name: str
    what: str
    unit: str
    severities: tuple[float, float, float]
    harmful_from: int
    spoil: Spoil

    def is_harmful(self, level: int) -> bool:
        """Whether figures would be wrong if the fault at this level (0, 1, 2) were ignored."""
        return level >= self.harmful_from


def _spoil_one(change: SpoilLog) -> Spoil:
    """Make a fault of one log that of a recording: in one sensor, drawn at random."""

    def spoil_recording(
        recording: Recording, severity: float, rng: np.random.Generator
    ) -> Recording:
        site = list(recording.logs)[int(rng.integers(len(recording.logs)))]
        log = change(recording.logs[site], severity, rng)
        return replace(recording, logs={**recording.logs, site: log})

    return spoil_recording


def _spoil_all(change: SpoilLog) -> Spoil:
    """Make a fault of one log that of a recording: in all sensors."""

    def spoil_recording(
        recording: Recording, severity: float, rng: np.random.Generator
    ) -> Recording:
        logs = {site: change(log, severity, rng) for site, log in recording.logs.items()}
        return replace(recording, logs=logs)

    return spoil_recording


_EXCHANGED: Final[tuple[dict[Site, Site], ...]] = (
    {"left_shank": "left_foot", "left_foot": "left_shank"},
    {
        "left_shank": "right_shank",
        "right_shank": "left_shank",
        "left_foot": "right_foot",
        "right_foot": "left_foot",
    },
    {"left_shank": "right_shank", "right_shank": "left_shank"},
)


def _exchange_names(recording: Recording, kind: float, _: np.random.Generator) -> Recording:
    """Exchange names: 0 shank and foot of a leg, 1 left and right leg, 2 left and right shank."""
    names = _EXCHANGED[round(kind)]
    logs = {
        site: replace(recording.logs[names.get(site, site)], site=site) for site in recording.logs
    }
    return replace(recording, logs=logs)


_ALL: Final[tuple[FaultKind, ...]] = (
    FaultKind(
        "accel_clipping",
        "accelerometers end at a share of the largest reading of each",
        "of the peak",
        (0.8, 0.6, 0.4),
        1,
        _spoil_all(clip_accel),
    ),
    FaultKind(
        "gyro_clipping",
        "gyroscopes end at a share of the largest reading of each",
        "of the peak",
        (0.9, 0.75, 0.6),
        1,
        _spoil_all(clip_gyro),
    ),
    FaultKind(
        "gyro_clipping_unstated",
        "the same, and the session file does not state the range",
        "of the peak",
        (0.9, 0.75, 0.6),
        1,
        _spoil_all(clip_gyro_unstated),
    ),
    FaultKind("gaps", "three gaps in one log", "s", (0.02, 0.06, 0.2), 1, _spoil_one(cut_gaps)),
    FaultKind(
        "drops",
        "single samples lost, all logs",
        "of them",
        (0.01, 0.05, 0.2),
        2,
        _spoil_all(drop_samples),
    ),
    FaultKind(
        "duplicates",
        "stamps repeated, all logs",
        "of them",
        (0.02, 0.1, 0.5),
        3,
        _spoil_all(repeat_stamps),
    ),
    FaultKind(
        "jitter",
        "stamps off by chance, all logs",
        "of a period (SD)",
        (0.2, 0.4, 1.0),
        2,
        _spoil_all(jitter_stamps),
    ),
    FaultKind(
        "slow_clock",
        "one sensor's clock is slow",
        "%",
        (0.05, 0.3, 1.0),
        1,
        _spoil_one(slow_clock),
    ),
    FaultKind(
        "wrong_rate",
        "the stated rate of all logs is too high",
        "%",
        (0.5, 5.0, 20.0),
        1,
        _spoil_all(slow_clock),
    ),
    FaultKind(
        "low_rate",
        "one sample in so many is kept",
        "",
        (3.0, 4.0, 5.0),
        1,
        _spoil_all(thin_samples),
    ),
    FaultKind(
        "spikes",
        "five single samples off in one log",
        "of 16 g or 2000 deg/s",
        (0.1, 0.5, 1.0),
        1,
        _spoil_one(add_spikes),
    ),
    FaultKind(
        "stuck",
        "one axis keeps its value",
        "s",
        (0.06, 0.3, 1e9),
        1,
        _spoil_one(freeze_axis),
    ),
    FaultKind(
        "held_in_swing",
        "a sensor held, in swing",
        "s",
        (0.02, 0.04, 0.3),
        1,
        _spoil_one(repeat_in_swing),
    ),
    FaultKind(
        "held_at_touchdown",
        "a sensor held, about a touchdown",
        "s",
        (0.02, 0.04, 0.3),
        0,
        _spoil_one(repeat_at_touchdown),
    ),
    FaultKind(
        "held_often",
        "all sensors held now and then, for 20 to 60 ms",
        "of the time",
        (0.01, 0.05, 0.2),
        0,
        _spoil_all(repeat_often),
    ),
    FaultKind(
        "swapped_axes",
        "axis reversed, exchanged, exchanged in both sensors",
        "kind",
        (0.0, 1.0, 2.0),
        0,
        _spoil_one(swap_axes),
    ),
    FaultKind(
        "gravity_scale",
        "accelerometer reads too much",
        "%",
        (3.0, 8.0, 15.0),
        1,
        _spoil_one(scale_gravity),
    ),
    FaultKind(
        "bias_jump",
        "gyroscope's zero jumps in the run",
        "deg/s",
        (0.5, 3.0, 15.0),
        1,
        _spoil_one(add_bias_jump),
    ),
    FaultKind(
        "slip",
        "a sensor turns on its limb",
        "deg",
        (2.0, 8.0, 20.0),
        1,
        _spoil_one(turn_on_limb),
    ),
    FaultKind(
        "wrong_unit",
        "g as m/s², rad/s as deg/s, deg/s as rad/s",
        "kind",
        (0.0, 1.0, 2.0),
        0,
        _spoil_one(misread_unit),
    ),
    FaultKind(
        "wrong_names",
        "shank and foot, both legs, both shanks exchanged",
        "kind",
        (0.0, 1.0, 2.0),
        0,
        _exchange_names,
    ),
)

FAULTS: Final[dict[str, FaultKind]] = {kind.name: kind for kind in _ALL}
"""All kinds of fault by name."""
