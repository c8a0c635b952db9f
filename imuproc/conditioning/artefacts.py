"""Samples that the limb cannot have made: an axis that keeps its value, single wild readings.

They are taken for missing. A shock is no wild reading: it rings, so its neighbours are rough too.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.marking import marked
from imuproc.conditioning.surroundings import flags_of_run
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Interval, Recording, SensorLog
from imuproc.dsp.stretches import stretches_of

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_AXES: Final = "xyz"


@dataclass(frozen=True)
class ArtefactSettings:
    """When a sample is taken for an artefact.

    Parameters
    ----------
    stuck_s : float
        Time for which an axis must not keep one exact value while its neighbours move.
    stuck_samples : int
        And so many samples.
    clipped_s : float
        For longer than this no axis stays at the end of its range while the limb runs: it is
        stuck. In running the fastest turn of a limb, half a swing, takes some 0.2 s (from memory).
    moves_mps2, moves_radps : float
        How much another axis of the sensor must change meanwhile.
    spike_ratio : float
        A wild reading is off what its neighbours make of it by this many times their own
        roughness.
    spike_mps2, spike_radps : float
        And by more than this.
    """

    stuck_s: float = 0.05
    stuck_samples: int = 8
    clipped_s: float = 0.25
    moves_mps2: float = 5.0
    moves_radps: float = 2.0
    spike_ratio: float = 8.0
    spike_mps2: float = 50.0
    spike_radps: float = 4.0


def without_artefacts(
    log: SensorLog, settings: ArtefactSettings
) -> tuple[SensorLog, list[RaisedFlag]]:
    """The log with artefacts replaced by NaN, and a flag for each kind.

    Parameters
    ----------
    log : SensorLog
    settings : ArtefactSettings

    Returns
    -------
    log : SensorLog
        The same object where there are none.
    flags : list of RaisedFlag
        ``stuck_channel`` and ``spikes``.
    """
    forward = np.diff(log.time_s)
    forward = forward[forward > 0.0]
    if len(forward) == 0:
        return log, []
    period_s = float(np.median(forward))
    least = max(round(settings.stuck_s / period_s), settings.stuck_samples)
    held = (least, max(round(settings.clipped_s / period_s), least))
    flags: list[RaisedFlag] = []
    cleaned: dict[str, FloatArray] = {}
    spikes = np.zeros(len(log.time_s), dtype=bool)
    for sensor, name, moves, size in (
        ("accelerometer", "accel_mps2", settings.moves_mps2, settings.spike_mps2),
        ("gyroscope", "gyro_radps", settings.moves_radps, settings.spike_radps),
    ):
        values: FloatArray = getattr(log, name)
        stuck = _stuck(values, held, moves)
        wild = _wild(values, settings.spike_ratio, size)
        if wild.any():
            wild &= ~stuck.any(axis=1)
        flags += _stuck_flags(log, sensor, stuck)
        spikes |= wild
        if stuck.any() or wild.any():
            cleaned[name] = np.where(stuck | wild[:, None], np.nan, values)
    if spikes.any():
        marks = marked(log.time_s, spikes, "{samples} left out, the first at {first}")
        flags.append(RaisedFlag("spikes", marks.detail(), log.site, marks=marks))
    return (replace(log, **cleaned) if cleaned else log), flags  # type: ignore[arg-type]


def _stuck_flags(log: SensorLog, sensor: str, stuck: BoolArray) -> list[RaisedFlag]:
    flags = []
    for axis, name in enumerate(_AXES):
        own = stuck[:, axis]
        if own.any():
            own = own | np.append(own[1:], False)  # with the value that it kept
            marks = marked(log.time_s, own, f"{sensor} axis {name} {{span}}")
            marks = replace(marks, from_s=float(log.time_s[0]), to_s=float(log.time_s[-1]))
            flags.append(RaisedFlag("stuck_channel", marks.detail(), log.site, marks=marks))
    return flags


def naming_stuck(reason: str, recording: Recording, around: Interval | None = None) -> str:
    """A reason for which a run is refused, and which stuck axes may be behind it.

    Parameters
    ----------
    reason : str
    recording : Recording
        With the flags of :func:`without_artefacts`.
    around : Interval, optional
        Only what lies in it; all of the recording when left out.

    Returns
    -------
    str
        The reason itself where no axis is stuck.
    """
    flags = recording.flags if around is None else flags_of_run(recording.flags, around, around)
    told = [
        f"{log.source} ({site}): {flag.detail}"
        for site, log in recording.logs.items()
        for flag in flags
        if flag.name == "stuck_channel" and flag.site == site
    ]
    if not told:
        return reason
    return (
        f"{reason}. An axis kept one value while the others moved, so samples were left out: "
        f"{'; '.join(told)}. Have the sensor checked; without its log in the session file the "
        "others are worked on"
    )


def _stuck(values: FloatArray, held: tuple[int, int], moves: float) -> BoolArray:
    """Samples at which one axis repeats its last value while another axis moves, shape (n, 3).

    ``held`` are how many samples it must keep it for, and how many where the value is the axis's
    largest or least: at the end of its range an axis keeps its value too, which is clipping.
    """
    least, longest_clipped = held
    out = np.zeros(values.shape, dtype=bool)
    for axis in range(values.shape[1]):
        column = values[:, axis]
        runs = _held_runs(column, least)
        ends = (np.nanmax(column), np.nanmin(column)) if runs else ()
        for first, last in runs:
            clipped = column[first] in ends and last - first <= longest_clipped
            if not clipped and _spread(values[first : last + 1]) > moves:
                out[first + 1 : last + 1, axis] = True
    return out


def _spread(values: FloatArray) -> float:
    """Largest range of any axis; missing values count for nothing."""
    own = np.fmax.reduce(values, axis=0) - np.fmin.reduce(values, axis=0)
    return float(np.fmax.reduce(own))


def _held_runs(x: FloatArray, least: int) -> list[tuple[int, int]]:
    """First and last sample of every run of more than ``least`` equal values."""
    held = x[1:] == x[:-1]
    if np.count_nonzero(held) < least:
        return []
    first, last = stretches_of(held)
    long = last - first >= least
    return [(int(a), int(b)) for a, b in zip(first[long], last[long], strict=True)]


_BESIDE: Final = 6


def _wild(values: FloatArray, ratio: float, size: float) -> BoolArray:
    """Single samples that their neighbours on both sides do not bear out, shape (n,).

    The nearest four samples tell a value (the cubic through them), six on either side how rough
    the signal is there without the sample itself, on all axes.
    """
    out = np.zeros(len(values), dtype=bool)
    if len(values) <= 2 * _BESIDE:
        return out
    a2, a1, x, b1, b2 = (values[k : len(values) - 4 + k] for k in range(5))
    off = np.abs(x - (4.0 * (a1 + b1) - a2 - b2) / 6.0)
    off = np.maximum.reduce([off[:, axis] for axis in range(off.shape[1])])
    # Only few samples are far off by size; their neighbourhoods are looked at one by one.
    at = 2 + np.flatnonzero(off > size)
    at = at[(at >= _BESIDE) & (at < len(values) - _BESIDE)]
    near = values[at[:, None] + np.arange(-_BESIDE, _BESIDE + 1)]
    before, after = near[:, :_BESIDE], near[:, _BESIDE + 1 :]
    rough = np.maximum(_bend(before), _bend(after))
    step = (after[:, 0] - before[:, -1]) - 0.5 * (
        (before[:, -1] - before[:, -3]) + (after[:, 2] - after[:, 0])
    )
    rough = np.maximum(rough, np.abs(step).max(axis=1, initial=0.0))
    out[at] = off[at - 2] > ratio * rough
    return out


def _bend(near: FloatArray) -> FloatArray:
    """Largest second difference of stretches of samples on any axis, shape (k, m, 3) to (k,)."""
    return np.asarray(np.abs(np.diff(near, n=2, axis=1)).max(axis=(1, 2), initial=0.0))
