"""Are these logs what they claim to be? Errors and flags that say what, where and what to do."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.samples.artefacts import (
    ArtefactSettings,
    name_stuck_axes,
    remove_artefacts,
)
from imuproc.conditioning.timebase import SiteSignals, TimeBased
from imuproc.core.errors import RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.history import HistoryEntry
from imuproc.core.recording import Recording, SensorLog
from imuproc.core.sites import Site, is_foot
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.core.words import format_count
from imuproc.dsp.filters import (
    average_blocks,
    choose_odd_width,
    find_finite_rows,
    moving_mean,
    moving_std,
)
from imuproc.dsp.medians import median
from imuproc.dsp.rotations import norm
from imuproc.files.settings_model import MEMORY, PRACTICE, StageSettings, number, span, table

FloatArray = NDArray[np.float64]

OWN_LOGS: Final = "Name the right log for each sensor"
"""What to do about :func:`find_same_logs`."""

_AXES: Final = "xyz"
_UNIT_HINTS: Final[tuple[tuple[float, str], ...]] = (
    (STANDARD_GRAVITY_MPS2, "the columns are probably in m/s^2, but were read as g"),
    (1.0 / STANDARD_GRAVITY_MPS2, "the columns are probably in g, but were read as m/s^2"),
    (1000.0, "the columns are probably in mg, but were read as g"),
    (0.001, "the columns are probably in g, but were read as mg"),
    (1000.0 / STANDARD_GRAVITY_MPS2, "the columns are probably in mg, but were read as m/s^2"),
    (STANDARD_GRAVITY_MPS2 / 1000.0, "the columns are probably in m/s^2, but were read as mg"),
    *(
        (factor, f"the logger's scale is probably wrong by a factor of {factor:g}")
        for factor in (0.125, 0.25, 0.5, 2.0, 4.0, 8.0)
    ),
)
_HINT_WITHIN_RATIO: Final = 1.25
"""A unit is named as the likely one within this factor; words only."""
_REST_BLOCK_S: Final = 0.01
"""Rest is slow: means over so much time tell it as well as every sample does."""
_BROKEN_SAMPLES: Final = 10
"""Single broken values are not a unit."""


class SanitySettings(StageSettings):
    """Limits beyond which a log is refused or flagged."""

    min_samples: int = number(50, (10, 100_000), "A log of fewer samples is refused.")
    min_duration_s: float = number(1.0, (0.1, 3600.0), "A shorter log is refused.")
    min_rate_hz: float = number(
        50.0,
        (10.0, 1000.0),
        "A log of a lower rate is refused.",
        "at this rate a contact of 0.1 s is no more than 5 samples",
    )
    low_rate_hz: float = number(
        200.0, (10.0, 2000.0), "A sensor that samples less often is flagged."
    )
    clock_off_share: float = number(
        0.005,
        (0.0, 0.1),
        "Share by which a logger may miss its rate without being flagged.",
        f"{PRACTICE}: far less than a step from one rate that loggers have to the next, far more "
        "than their oscillators are off",
    )
    min_measured_share: float = number(
        0.5, (0.0, 1.0), "Least share of a log's own time in which it must have samples."
    )
    rest_window_s: float = number(0.5, (0.1, 10.0), "Window in which rest is looked for.")
    rest_spread: float = number(
        0.03,
        (0.001, 1.0),
        "Largest spread of the acceleration at rest: standard deviation over size.",
        unit="",
    )
    gravity_refused_share: float = number(
        0.2,
        (0.0, 1.0),
        "Departure of the acceleration at rest from gravity from which on a log is refused.",
    )
    gravity_flagged_share: float = number(
        0.05, (0.0, 1.0), "Departure from which on it is flagged."
    )
    gravity_lengths_share: float = number(
        0.12,
        (0.0, 1.0),
        "Departure in a foot's sensor from which on lengths and speed are withheld.",
    )
    moving_norm_g: tuple[float, float] = span(
        (0.3, 8.0),
        (0.0, 100.0),
        "Least and largest acceleration in the quietest stretch of a log without rest.",
        MEMORY,
    )
    slow_gyro_radps: float = number(
        1.0,
        (0.01, 20.0),
        "A leg that runs turns faster than this (57 deg/s); where it does not, the unit is wrong.",
    )
    moving_force_share: float = number(
        0.5,
        (0.05, 5.0),
        "A leg is in motion where acceleration is off gravity by more than this share of it for "
        "half of a second.",
    )
    artefacts: ArtefactSettings = table(ArtefactSettings)

    ordered = (
        ("min_rate_hz", "low_rate_hz"),
        ("gravity_flagged_share", "gravity_lengths_share"),
        ("gravity_lengths_share", "gravity_refused_share"),
    )


def check_logs(recording: Recording, settings: SanitySettings) -> Recording:
    """Refuse logs that hold no signal; take out what the limb cannot have made, with its flag.

    Parameters
    ----------
    recording : Recording
        As read.
    settings : SanitySettings

    Returns
    -------
    Recording
        With flags and one more history entry; artefacts are NaN.

    Raises
    ------
    RunError
        If a log has too few samples, or an axis has no values, only zeros or one value only, or
        two logs hold the same samples.
    """
    flags: list[RaisedFlag] = []
    logs: dict[Site, SensorLog] = {}
    for site, log in recording.logs.items():
        _require_samples(log, settings)
        for sensor, values in (("accelerometer", log.accel_mps2), ("gyroscope", log.gyro_radps)):
            _require_signal(log, sensor, values)
        logs[site], raised = remove_artefacts(
            log, settings.artefacts, compute_least_rate_hz(settings)
        )
        flags += raised
        if log.cut_short:
            where = {"source": log.source, "reason": log.cut_short}
            flags.append(RaisedFlag("log_cut_short", where, site))
    for told in find_same_logs(recording.logs):
        raise RunError(f"{told}. {OWN_LOGS}")
    entry = HistoryEntry(
        "conditioning.sanity.logs",
        "every axis of every log holds a signal; artefacts were taken out",
        settings.model_dump(),
    )
    return replace(
        recording,
        logs=logs,
        flags=(*recording.flags, *flags),
        history=(*recording.history, entry),
    )


def check_signals(
    based: TimeBased, settings: SanitySettings, fastest_limb_radps: float
) -> TimeBased:
    """Refuse signals of the wrong unit, rate or length; flag what makes figures less certain.

    Parameters
    ----------
    based : TimeBased
        Recording on its common clock, sensor axes.
    settings : SanitySettings
    fastest_limb_radps : float
        No limb turns faster.

    Returns
    -------
    TimeBased
        With flags and one more history entry.

    Raises
    ------
    RunError
        If a log is too short, too slow or mostly missing; if acceleration at rest is not near
        gravity (the text says which unit was probably meant); if the angular velocity is beyond
        what a limb does, or next to nothing while the limb is in motion.
    """
    flags: list[RaisedFlag] = []
    for site, signals in based.sites.items():
        where = f"{based.recording.logs[site].source} ({site})"
        try:
            flags += _check_rate_and_length(where, signals, based.rate_hz, settings)
            flags += _check_gravity(where, signals, based, settings)
            _check_gyro_unit(where, signals, based, settings, fastest_limb_radps)
        except RunError as error:
            raise RunError(name_stuck_axes(str(error), based.recording)) from error
    entry = HistoryEntry(
        "conditioning.sanity.signals",
        "rate, length, gravity at rest and size of the angular velocity are plausible",
        settings.model_dump(),
    )
    return replace(based, flags=(*based.flags, *flags), history=(*based.history, entry))


def compute_least_rate_hz(settings: SanitySettings) -> float:
    """Rate below which a sensor is slow."""
    return (1.0 - settings.clock_off_share) * settings.low_rate_hz


def find_same_logs(logs: Mapping[Site, SensorLog]) -> Iterator[str]:
    """One log under two names, told for each pair: figures would look in order and not be."""
    for a, b in combinations(logs.values(), 2):
        pairs = ((a.accel_mps2, b.accel_mps2), (a.gyro_radps, b.gyro_radps))
        if len(a.time_s) and all(np.array_equal(x, y, equal_nan=True) for x, y in pairs):
            yield f"{a.source} ({a.site}) and {b.source} ({b.site}) hold the same samples"


def _require_samples(log: SensorLog, settings: SanitySettings) -> None:
    if len(log.time_s) < settings.min_samples:
        raise RunError(
            f"{log.source} ({log.site}): {format_count(len(log.time_s), 'sample')}; at least "
            f"{settings.min_samples} are needed. Check that the log was written to its end"
        )


def _require_signal(log: SensorLog, sensor: str, values: FloatArray) -> None:
    if all(np.ptp(values[:, axis]) > 0.0 for axis in range(len(_AXES))):
        return  # the usual case; NaN is not above 0
    where = f"{log.source} ({log.site}): {sensor}"
    finite = np.isfinite(values)
    if not finite.any():
        raise RunError(
            f"{where} has no values at all. Angular velocity and acceleration are both needed: "
            "check the columns that the layout names, and the word for missing values"
        )
    filled = np.where(finite, values, 0.0)
    if not filled.any():
        raise RunError(
            f"{where} reads zero throughout: the sensor was off or its columns are empty. Switch "
            "it on, or name other columns in the layout"
        )
    for axis, name in enumerate(_AXES):
        column = values[finite[:, axis], axis]
        if len(column) == 0:
            raise RunError(f"{where}, axis {name}, has no values. Check its column in the layout")
        if np.ptp(column) == 0.0:
            raise RunError(
                f"{where}, axis {name}, reads {column[0]:.6g} throughout: the axis is stuck or "
                "its column holds something else. Check the layout and the sensor"
            )


def _check_rate_and_length(
    where: str, signals: SiteSignals, clock_hz: float, settings: SanitySettings
) -> list[RaisedFlag]:
    known = np.flatnonzero(signals.measured)
    span = int(known[-1] - known[0]) + 1 if len(known) else 0
    if span / clock_hz < settings.min_duration_s:
        raise RunError(
            f"{where}: {span / clock_hz:.3g} s of samples; at least {settings.min_duration_s:g} s "
            "are needed. Check that the log was written to its end, and the unit of its times"
        )
    if signals.rate_hz < settings.min_rate_hz:
        raise RunError(
            f"{where}: {signals.rate_hz:.4g} samples per second; at least "
            f"{settings.min_rate_hz:g} are needed, and 200 or more are advised. Check the unit of "
            "the time column and the logger's rate"
        )
    share = len(known) / span
    if share < settings.min_measured_share:
        raise RunError(
            f"{where}: only {100.0 * share:.0f} % of the samples are there. Check the logger's "
            "storage or radio link, and the word for missing values in the layout"
        )
    if signals.rate_hz < compute_least_rate_hz(settings):
        return [RaisedFlag("low_rate", {"rate_hz": signals.rate_hz}, signals.site)]
    return []


def _check_gravity(
    where: str, signals: SiteSignals, based: TimeBased, settings: SanitySettings
) -> list[RaisedFlag]:
    """Compare the acceleration in the quietest stretch with gravity."""
    size, resting = _measure_quietest(signals.accel_mps2, based.rate_hz, settings)
    gravity = based.recording.gravity_mps2
    if np.isnan(size):
        raise RunError(
            f"{where}: there are never {settings.rest_window_s:g} s without a gap. Check the "
            "logger's storage or radio link"
        )
    ratio = size / gravity
    low, high = settings.moving_norm_g
    if not resting and low <= ratio <= high:
        return []
    if resting and abs(ratio - 1.0) <= settings.gravity_refused_share:
        if abs(ratio - 1.0) <= settings.gravity_flagged_share:
            return []
        found = {"found_mps2": size, "expected_mps2": gravity}
        names = ["gravity_off"]
        if is_foot(signals.site) and abs(ratio - 1.0) > settings.gravity_lengths_share:
            names.append("velocity_unsure")
        return [RaisedFlag(name, found, signals.site) for name in names]
    hint = _describe_unit_hint(ratio, resting, low)
    raise RunError(
        f"{where}: acceleration {'at rest' if resting else 'in the quietest stretch'} is "
        f"{size:.4g} m/s^2 in place of about {gravity:.3g}: {hint}. Correct accel in the layout"
    )


def _measure_quietest(
    accel_mps2: FloatArray, rate_hz: float, settings: SanitySettings
) -> tuple[float, bool]:
    """Norm of the acceleration in the quietest stretches, and whether they are rest at all."""
    block = max(1, int(rate_hz * _REST_BLOCK_S))
    width = choose_odd_width(settings.rest_window_s, rate_hz / block)
    accel = average_blocks(accel_mps2, block)
    spread = norm(moving_std(accel, width))
    level = moving_mean(norm(accel), width)
    whole = moving_mean(find_finite_rows(accel).astype(float), width) == 1.0
    spread, level = spread[whole], level[whole]
    if len(spread) == 0:
        return float("nan"), False
    with np.errstate(divide="ignore", invalid="ignore"):
        rest = spread / level < settings.rest_spread
    if rest.any():
        return float(median(level[rest])), True
    return float(level[np.argmin(spread)]), False


def _describe_unit_hint(ratio: float, resting: bool, least_g: float) -> str:
    """Which unit was probably meant, from the ratio of what was found to gravity."""
    away = [abs(np.log(max(ratio, 1e-12) / factor)) for factor, _ in _UNIT_HINTS]
    best = int(np.argmin(away))
    if resting and away[best] <= np.log(_HINT_WITHIN_RATIO):
        return _UNIT_HINTS[best][1]
    if ratio < least_g:
        return (
            "the device has probably taken gravity away (raw acceleration is needed), or the "
            "columns are in g but were read as m/s^2, or they are not those of the accelerometer"
        )
    return "unit, scale or columns are probably wrong"


def _check_gyro_unit(
    where: str,
    signals: SiteSignals,
    based: TimeBased,
    settings: SanitySettings,
    fastest_limb_radps: float,
) -> None:
    known = signals.measured
    speed = norm(signals.gyro_radps)[known]
    fastest = float(np.partition(speed, -_BROKEN_SAMPLES)[-_BROKEN_SAMPLES])
    if fastest > fastest_limb_radps:
        raise RunError(
            f"{where}: angular velocity reaches {np.degrees(fastest):.4g} deg/s, beyond what a "
            "limb does: the columns are probably in deg/s, but were read as rad/s (or in "
            "thousandths of deg/s). Correct gyro in the layout"
        )
    if fastest >= settings.slow_gyro_radps:
        return
    gravity = based.recording.gravity_mps2
    away = np.abs(np.linalg.norm(signals.accel_mps2, axis=1) - gravity)
    far = away > settings.moving_force_share * gravity
    moving = np.where(np.isfinite(away), far, 0.0).astype(float)
    # Half of a whole second far from 1 g: a leg in motion; taps on the sensor are not enough.
    if moving_mean(moving, choose_odd_width(1.0, based.rate_hz)).max() > 0.5:
        raise RunError(
            f"{where}: angular velocity never passes {np.degrees(fastest):.4g} deg/s although the "
            "limb is in fast motion: the columns are probably in rad/s, but were read as deg/s. "
            "Correct gyro in the layout"
        )
