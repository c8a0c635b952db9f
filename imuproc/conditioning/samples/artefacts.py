"""Samples that the limb cannot have made: repeats, an axis that keeps its value, wild readings.

They are taken for missing. A shock is no wild reading: it rings, so its neighbours are rough too.
"""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.samples.marking import mark_samples
from imuproc.conditioning.samples.repeated_samples import (
    RepeatSettings,
    find_repeated_samples,
    is_same_as_before,
)
from imuproc.conditioning.samples.sample_and_hold import drop_regular_repeats, is_same_on_all_axes
from imuproc.conditioning.surroundings import select_flags_of_run
from imuproc.core.flag_words import describe_flag
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Interval, Recording, SensorLog
from imuproc.dsp.mask_runs import find_mask_runs
from imuproc.dsp.medians import median
from imuproc.files.settings_model import StageSettings, number, table

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_AXES: Final = "xyz"
_LEFT_OUT: Final = (
    (
        "stuck_channel",
        "An axis kept one value while the others moved",
        "Have the sensor checked; without its log in the session file the others are worked on",
    ),
    (
        "samples_held",
        "A sensor repeated one sample on all axes where others should have been",
        "Check the radio link; without its log in the session file the others are worked on",
    ),
)


class ArtefactSettings(StageSettings):
    """When a sample is taken for an artefact."""

    stuck_s: float = number(
        0.05,
        (0.0, 10.0),
        "Time for which an axis must not keep one exact value while its neighbours move.",
    )
    stuck_samples: int = number(8, (2, 1000), "And so many samples.")
    clipped_s: float = number(
        0.25,
        (0.0, 10.0),
        "For longer than this no axis stays at the end of its range while the limb runs: it is "
        "stuck.",
        "the fastest turn of a limb in running, half a swing, takes some 0.2 s (from memory)",
    )
    moves_mps2: float = number(
        5.0, (0.0, 200.0), "How much another axis of the accelerometer must change meanwhile."
    )
    moves_radps: float = number(2.0, (0.0, 50.0), "The same for the gyroscope.")
    spike_ratio: float = number(
        8.0,
        (1.0, 1000.0),
        "A wild reading is off what its neighbours make of it by this many times their own "
        "roughness.",
    )
    spike_mps2: float = number(50.0, (0.0, 1000.0), "And by more than this, in acceleration.")
    spike_radps: float = number(4.0, (0.0, 100.0), "And by more than this, in angular velocity.")
    held: RepeatSettings = table(RepeatSettings)


def remove_artefacts(
    log: SensorLog, settings: ArtefactSettings, least_hz: float
) -> tuple[SensorLog, list[RaisedFlag]]:
    """The log with artefacts replaced by NaN, and a flag for each kind.

    Repeats of a sensor that is written faster than it samples are no artefacts, and no samples: see
    :func:`imuproc.conditioning.samples.sample_and_hold.drop_regular_repeats`.

    Parameters
    ----------
    log : SensorLog
    settings : ArtefactSettings
    least_hz : float
        A sensor that is written faster than it samples is flagged below this rate.

    Returns
    -------
    log : SensorLog
        The same object where there are none.
    flags : list of RaisedFlag
        ``samples_held``, ``low_rate``, ``stuck_channel`` and ``spikes``.
    """
    period_s = _measure_period_s(log)
    if period_s == 0.0:
        return log, []
    same = _find_repeats(log)
    repeated = find_repeated_samples(log, same, period_s, settings.held)
    own, flags = _remove_repeats(log, same, repeated, period_s, least_hz)
    if own is not log:
        log, period_s, same = own, _measure_period_s(own), _find_repeats(own)
    least = max(round(settings.stuck_s / period_s), settings.stuck_samples)
    longest = max(round(settings.clipped_s / period_s), least)
    cleaned: dict[str, FloatArray] = {}
    spikes = np.zeros(len(log.time_s), dtype=bool)
    moves = (settings.moves_mps2, settings.moves_radps)
    both = (log.accel_mps2, log.gyro_radps)
    for k, (sensor, name, size) in enumerate(
        (
            ("accelerometer", "accel_mps2", settings.spike_mps2),
            ("gyroscope", "gyro_radps", settings.spike_radps),
        )
    ):
        stuck = _find_stuck_axes(both[k], same[k], least, longest, moves[k])
        whole = _find_stuck_sensor(both[k], same[k], least, longest, both[1 - k], moves[1 - k])
        wild = _find_wild(both[k], settings.spike_ratio, size)
        if wild.any():
            wild &= ~stuck.any(axis=1)
        flags += _list_stuck_flags(log, sensor, stuck, whole)
        spikes |= wild
        missing = stuck | (wild | whole)[:, None]
        if missing.any():
            cleaned[name] = np.where(missing, np.nan, both[k])
    if spikes.any():
        flags.append(RaisedFlag.from_marks("spikes", mark_samples(log.time_s, spikes), log.site))
    return (replace(log, **cleaned) if cleaned else log), flags  # type: ignore[arg-type]


def _measure_period_s(log: SensorLog) -> float:
    """Middle step forward between stamps; 0 where there is none."""
    steps = np.diff(log.time_s)
    steps = steps[steps > 0.0]
    return float(median(steps)) if len(steps) else 0.0


def _remove_repeats(
    log: SensorLog,
    same: tuple[BoolArray, BoolArray],
    repeated: BoolArray,
    period_s: float,
    least_hz: float,
) -> tuple[SensorLog, list[RaisedFlag]]:
    """The log without samples that only stand for others; the same object where there are none."""
    out, flags = drop_regular_repeats(log, same, period_s, least_hz)
    if not repeated.any():
        return out, flags
    flags.append(
        RaisedFlag.from_marks("samples_held", mark_samples(log.time_s, repeated), log.site)
    )
    if len(out.time_s) == len(log.time_s):  # else their rows are gone
        accel, gyro = (
            np.where(repeated[:, None], np.nan, values)
            for values in (out.accel_mps2, out.gyro_radps)
        )
        out = replace(out, accel_mps2=accel, gyro_radps=gyro)
    return out, flags


def _find_repeats(log: SensorLog) -> tuple[BoolArray, BoolArray]:
    return is_same_as_before(log.accel_mps2), is_same_as_before(log.gyro_radps)


def _list_stuck_flags(
    log: SensorLog, sensor: str, stuck: BoolArray, whole: BoolArray
) -> list[RaisedFlag]:
    flags = []
    axes = [({"sensor": sensor, "axis": name}, stuck[:, k]) for k, name in enumerate(_AXES)]
    for channel, own in (*axes, ({"sensor": sensor}, whole)):
        if own.any():
            own = own | np.append(own[1:], False)  # with the value that it kept
            marks = mark_samples(log.time_s, own)
            marks = replace(marks, from_s=float(log.time_s[0]), to_s=float(log.time_s[-1]))
            flags.append(RaisedFlag.from_marks("stuck_channel", marks, log.site, channel))
    return flags


def name_stuck_axes(reason: str, recording: Recording, around: Interval | None = None) -> str:
    """A reason for which a run is refused, and which stuck axes or held samples may be behind it.

    Parameters
    ----------
    reason : str
    recording : Recording
        With the flags of :func:`remove_artefacts`.
    around : Interval, optional
        Only what lies in it; all of the recording when left out.

    Returns
    -------
    str
        The reason itself where there are none.
    """
    flags = (
        recording.flags if around is None else select_flags_of_run(recording.flags, around, around)
    )
    for name, what, advice in _LEFT_OUT:
        told = [
            f"{log.source} ({site}): {describe_flag(flag)}"
            for site, log in recording.logs.items()
            for flag in flags
            if flag.name == name and flag.site == site
        ]
        if told:
            reason = f"{reason}. {what}, so samples were left out: {'; '.join(told)}. {advice}"
    return reason


def _find_stuck_axes(
    values: FloatArray, same: BoolArray, least: int, longest_clipped: int, moves: float
) -> BoolArray:
    """Samples at which one axis repeats its last value while another axis moves, shape (n, 3).

    ``same`` is that of :func:`is_same_as_before`; ``least`` is how many samples it must keep the
    value for, ``longest_clipped`` how many where that is the axis's largest or least: at the end of
    its range an axis keeps its value too, which is clipping.
    """
    out = np.zeros(values.shape, dtype=bool)
    for axis in range(values.shape[1]):
        column = values[:, axis]
        runs = _find_long_runs(same[:, axis], least)
        ends = (np.nanmax(column), np.nanmin(column)) if runs else ()
        for first, last in runs:
            clipped = column[first] in ends and last - first <= longest_clipped
            if not clipped and _measure_range(values[first : last + 1]) > moves:
                out[first + 1 : last + 1, axis] = True
    return out


def _find_stuck_sensor(
    values: FloatArray,
    same: BoolArray,
    least: int,
    longest_clipped: int,
    other: FloatArray,
    moves: float,
) -> BoolArray:
    """Samples at which a sensor repeats all of its last values while the other moves, shape (n,).

    An accelerometer may do so while its gyroscope goes on, or the other way round. Parameters as
    those of :func:`_find_stuck_axes`: all axes may be at the end of their range at once.
    """
    out = np.zeros(len(other), dtype=bool)
    runs = _find_long_runs(is_same_on_all_axes(same), least)
    ends = (np.fmax.reduce(values), np.fmin.reduce(values)) if runs else ()
    for first, last in runs:
        at_end = np.logical_or.reduce([values[first] == end for end in ends]).all()
        clipped = at_end and last - first <= longest_clipped
        if not clipped and _measure_range(other[first : last + 1]) > moves:
            out[first + 1 : last + 1] = True
    return out


def _measure_range(values: FloatArray) -> float:
    """Largest range of any axis; missing values count for nothing."""
    own = np.fmax.reduce(values, axis=0) - np.fmin.reduce(values, axis=0)
    return float(np.fmax.reduce(own))


def _find_long_runs(same: BoolArray, least: int) -> list[tuple[int, int]]:
    """First and last sample of every run of more than ``least`` equal values."""
    if np.count_nonzero(same) < least:
        return []
    first, last = find_mask_runs(same)
    long = last - first >= least
    return [(int(a), int(b)) for a, b in zip(first[long], last[long], strict=True)]


_BESIDE_SAMPLES: Final = 6
"""Samples on either side that tell how rough a signal is: the cubic needs two, its scatter more."""


def _find_wild(values: FloatArray, ratio: float, size: float) -> BoolArray:
    """Single samples that their neighbours on both sides do not bear out, shape (n,).

    The nearest four samples tell a value (the cubic through them), six on either side how rough
    the signal is there without the sample itself, on all axes.
    """
    out = np.zeros(len(values), dtype=bool)
    if len(values) <= 2 * _BESIDE_SAMPLES:
        return out
    a2, a1, x, b1, b2 = (values[k : len(values) - 4 + k] for k in range(5))
    off = np.abs(x - (4.0 * (a1 + b1) - a2 - b2) / 6.0)
    off = np.maximum.reduce([off[:, axis] for axis in range(off.shape[1])])
    # Only few samples are far off by size; their neighbourhoods are looked at one by one.
    at = 2 + np.flatnonzero(off > size)
    at = at[(at >= _BESIDE_SAMPLES) & (at < len(values) - _BESIDE_SAMPLES)]
    near = values[at[:, None] + np.arange(-_BESIDE_SAMPLES, _BESIDE_SAMPLES + 1)]
    before, after = near[:, :_BESIDE_SAMPLES], near[:, _BESIDE_SAMPLES + 1 :]
    rough = np.maximum(_measure_bend(before), _measure_bend(after))
    step = (after[:, 0] - before[:, -1]) - 0.5 * (
        (before[:, -1] - before[:, -3]) + (after[:, 2] - after[:, 0])
    )
    rough = np.maximum(rough, np.abs(step).max(axis=1, initial=0.0))
    out[at] = off[at - 2] > ratio * rough
    return out


def _measure_bend(near: FloatArray) -> FloatArray:
    """Largest second difference of rows of samples on any axis, shape (k, m, 3) to (k,)."""
    return np.asarray(np.abs(np.diff(near, n=2, axis=1)).max(axis=(1, 2), initial=0.0))
