"""From sensor axes to segment axes: standing gives the vertical, running the mediolateral axis.

Quiet standing defines zero (shin 90°, foot 0°). The mediolateral axis is the main axis of fast
rotation in the run; its sign follows from the fact that shank and foot of a runner point downward
in front on average over the stride (the leg is folded back in swing and leans forward in push-off).
Where that does not settle it, shank and foot of one leg turn together.
"""

from collections.abc import Mapping
from dataclasses import asdict
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.axes.agreement import ColumnsSettings, find_axes_fault
from imuproc.conditioning.axes.pairing import PairingSettings
from imuproc.conditioning.axes.segment_axes import (
    Axes,
    AxesSettings,
    SensorRecord,
    drop_brief_rests,
    estimate_gyro_bias,
    find_segment_axes,
    measure_zero_shift,
)
from imuproc.conditioning.axes.slip import compute_slip_u_rad
from imuproc.conditioning.axes.standing import (
    Standing,
    StandingSettings,
    find_standing,
    list_turn_flags,
    restrict_standing,
)
from imuproc.conditioning.axes.stillness import StillnessSettings, find_common_rests, find_rests
from imuproc.conditioning.dropouts import (
    DropoutSettings,
    UnbrokenPart,
    bridge_gaps,
    find_unbroken_part,
    list_dropout_flags,
)
from imuproc.conditioning.surroundings import (
    cut_recording,
    cut_signals,
    find_spans_around,
    select_flags_of_run,
)
from imuproc.conditioning.timebase import SiteSignals, TimeBased
from imuproc.conditioning.usable import select_usable_segments
from imuproc.core.errors import RunError
from imuproc.core.flag_words import describe_flag
from imuproc.core.flags import RaisedFlag, Values
from imuproc.core.history import HistoryEntry
from imuproc.core.recording import (
    Calibration,
    Conditioned,
    ConditionedRecording,
    Interval,
)
from imuproc.core.sites import Site, is_foot, is_thigh, side_of
from imuproc.files.settings_model import FUKUCHI, MEMORY, StageSettings, number, table

FloatArray = NDArray[np.float64]


class CalibrationSettings(StageSettings):
    """How segment axes are found."""

    shortest_standing_s: float = number(0.7, (0.1, 60.0), "Least duration of quiet standing.")
    toe_out_deg: float = number(
        10.0,
        (-45.0, 45.0),
        "Usual angle by which the foot's heel-to-toe line points outward of the direction in which "
        "the foot turns over the stride; its own sensor cannot tell it.",
        f"mean of {FUKUCHI}, both feet: 9.7 deg, between-foot SD 4.0 deg",
    )
    toe_out_u_deg: float = number(
        4.0, (0.0, 45.0), "Its standard uncertainty for one foot.", f"{FUKUCHI}, both feet"
    )
    margin_s: float = number(
        0.3, (0.0, 10.0), "Kept before the standing and after the end of a run."
    )
    without_standing_s: float = number(
        1.0, (0.0, 60.0), "Kept before and after a run where nobody stood there."
    )
    sign_margin: float = number(
        0.08,
        (0.0, 1.0),
        "Least mean elevation (sine) of the forward axis that settles the forward direction.",
        unit="",
    )
    sways_deg: float = number(
        2.0,
        (0.0, 30.0),
        "Gravity differs by so much between two quiet stands without any slip.",
        MEMORY,
    )
    lost_degps: float = number(
        6.0,
        (0.1, 100.0),
        "A gyroscope whose zero moves by more in a run is not used: it leaves no angle of a stride "
        "that could be trusted.",
    )
    stillness: StillnessSettings = table(StillnessSettings)
    standing: StandingSettings = table(StandingSettings)
    axes: AxesSettings = table(AxesSettings)
    columns: ColumnsSettings = table(ColumnsSettings)
    pairing: PairingSettings = table(PairingSettings)
    tears: DropoutSettings = table(DropoutSettings)

    ordered = (("axes.zero_moves_degps", "lost_degps"),)


def calibrate(
    timebased: TimeBased,
    run: Interval,
    settings: CalibrationSettings,
    rejected: tuple[Interval, ...] = (),
    others: tuple[Interval, ...] = (),
) -> ConditionedRecording:
    """Turn all signals around one run into segment axes.

    Parameters
    ----------
    timebased : TimeBased
        All sensors on the common clock, sensor axes.
    run : Interval
        The run on that clock in s.
    settings : CalibrationSettings
    rejected : tuple of Interval
        Rests that turned out not to be standing.
    others : tuple of Interval
        All runs of the recording: standing is looked for up to the neighbouring ones first.

    Returns
    -------
    ConditionedRecording
        The run with its quiet standing before and after.

    Raises
    ------
    RunError
        If no sensor can be used.
    """
    around = _cut_surroundings(timebased, run, settings, rejected, others)
    timebased, standing = around.timebased, around.standing
    kept = _choose_kept_rows(timebased.time_s, standing, run, settings)
    time_s = timebased.time_s[kept]
    parts = _find_unbroken_parts(timebased, kept, run, settings.tears)
    dropouts, left_out = list_dropout_flags(parts)
    sensors = {
        site: _condition_sensor(part, time_s, run, around, settings) for site, part in parts.items()
    }
    lost = {k: s.lost for k, s in sensors.items() if s.lost is not None and k not in left_out}
    segments, flags = select_usable_segments(
        {site: s.segment for site, s in sensors.items()},
        {site for site, s in sensors.items() if not s.forward_sure and side_of(site)},
        _mask_interval(time_s, run),
        left_out | lost,
    )
    if not segments:
        raise _make_no_sensor_error(run, flags)
    span = Interval(float(time_s[0]), float(time_s[-1]))
    own = (
        *select_flags_of_run(timebased.flags, span, run),
        *standing.flags,
        *list_turn_flags(segments, settings.standing.differs_deg),
    )
    return ConditionedRecording(
        recording=timebased.recording,
        time_s=time_s,
        rate_hz=timebased.rate_hz,
        segments=segments,
        flags=(*own, *dropouts, *flags, *_list_zero_flags(segments)),
        history=(*timebased.history, _make_history_entry(standing, settings)),
    )


def _make_no_sensor_error(run: Interval, flags: list[RaisedFlag]) -> RunError:
    told = "; ".join(f"{flag.site}: {describe_flag(flag)}" for flag in flags)
    return RunError(f"from {run.start_s:.1f} to {run.end_s:.1f} s: no sensor can be used: {told}")


class _Surroundings(NamedTuple):
    """The part of a recording around a run, the rests in it, and the run's quiet standing."""

    timebased: TimeBased
    rests: dict[Site, tuple[Interval, ...]]
    standing: Standing


class _Sensor(NamedTuple):
    """One sensor in segment axes, whether forward surely is, and why it cannot be used."""

    segment: Conditioned
    forward_sure: bool
    lost: RaisedFlag | None


def _make_history_entry(standing: Standing, settings: CalibrationSettings) -> HistoryEntry:
    return HistoryEntry(
        "conditioning.calibration",
        "Signals turned into segment axes from quiet standing and the rotation axis of running.",
        {
            **settings.model_dump(),
            "still_before": standing.before and asdict(standing.before),
            "still_after": standing.after and asdict(standing.after),
        },
    )


def _cut_surroundings(
    timebased: TimeBased,
    run: Interval,
    settings: CalibrationSettings,
    rejected: tuple[Interval, ...],
    others: tuple[Interval, ...],
) -> _Surroundings:
    """Look near the run first, and farther away where no quiet standing is there."""
    nearest, farthest = find_spans_around(run, others, settings.standing.search_s)
    near = cut_recording(timebased, nearest)
    rests = _find_rests_by_site(near, settings.stillness)
    allowed = (settings.shortest_standing_s, settings.standing, rejected)
    standing = find_standing(near, rests, run, *allowed)
    if standing.before or standing.after or nearest == farthest:
        return _Surroundings(near, rests, standing)
    far = cut_recording(timebased, farthest)
    rests = _find_rests_by_site(far, settings.stillness)
    return _Surroundings(far, rests, find_standing(far, rests, run, *allowed))


def _find_rests_by_site(
    timebased: TimeBased, settings: StillnessSettings
) -> dict[Site, tuple[Interval, ...]]:
    """Rests of each sensor."""
    clock, rate_hz = timebased.time_s, timebased.rate_hz
    return {
        site: find_rests(clock, signals.accel_mps2, signals.gyro_radps, rate_hz, settings)
        for site, signals in timebased.sites.items()
    }


def _choose_kept_rows(
    time_s: FloatArray, standing: Standing, run: Interval, settings: CalibrationSettings
) -> slice:
    around_s, margin_s = settings.without_standing_s, settings.margin_s
    start = standing.before.start_s if standing.before else run.start_s - around_s
    last = standing.after or standing.compared
    end = last.end_s if last else run.end_s + around_s
    low, high = np.searchsorted(time_s, [start - margin_s, end + margin_s])
    return slice(int(low), int(high))


def _find_unbroken_parts(
    timebased: TimeBased, kept: slice, run: Interval, settings: DropoutSettings
) -> dict[Site, UnbrokenPart]:
    """Each sensor's signals around a run, as far as no turn is lost."""
    time_s, rate_hz = timebased.time_s[kept], timebased.rate_hz
    return {
        site: find_unbroken_part(cut_signals(signals, kept), time_s, rate_hz, run, settings)
        for site, signals in timebased.sites.items()
    }


def _condition_sensor(
    part: UnbrokenPart,
    time_s: FloatArray,
    run: Interval,
    around: _Surroundings,
    settings: CalibrationSettings,
) -> _Sensor:
    """Turn one sensor's signals into segment axes, from its own rests and standing."""
    signals, own_rests = part.signals, around.rests[part.signals.site]
    rests = find_common_rests([(part.span,), own_rests], settings.stillness.shortest_s)
    accel, gyro = bridge_gaps(time_s, signals.accel_mps2), bridge_gaps(time_s, signals.gyro_radps)
    running = _mask_interval(time_s, run)
    # What was filled in tells nothing of the axes: a log that ends in a swing would turn on in it.
    running = known if (known := running & signals.measured).any() else running
    rests = drop_brief_rests(signals.site, time_s, gyro, rests, running, settings.axes)
    standing = restrict_standing(around.standing, rests, settings.shortest_standing_s)
    bias, bias_u = estimate_gyro_bias(time_s, gyro, rests, settings.axes)
    anchor = standing.before or standing.after
    still = None if anchor is None else _mask_interval(time_s, anchor)
    record = SensorRecord(time_s, around.timebased.rate_hz, accel, gyro - bias, running, still)
    axes = find_segment_axes(record, settings.sign_margin, settings.axes, is_thigh(signals.site))
    turn, axis_u = _compute_rotation(signals.site, axes, settings)
    moved = measure_zero_shift(time_s, gyro, rests, running, settings.axes)
    accel, gyro = accel @ turn.T, record.gyro_radps @ turn.T
    up_after = _find_up_after(time_s, accel, standing)
    calibration = Calibration(
        segment_from_sensor=turn,
        gyro_bias_radps=bias,
        gyro_bias_u_radps=float(np.hypot(bias_u, 0.5 * moved)),
        still_before=standing.before,
        still_after=standing.after,
        axis_u_rad=axis_u,
        vertical_known=anchor is not None,
        rests=rests,
        zero_moved_radps=moved,
        slip_u_rad=compute_slip_u_rad(signals.site, up_after, signals.slip, settings.sways_deg),
        up_after=up_after,
        slip=signals.slip,
    )
    segment = _to_segment_axes(signals, time_s, accel, gyro, calibration)
    return _Sensor(segment, axes.sign_sure, _find_loss(segment, record, settings))


def _to_segment_axes(
    signals: SiteSignals,
    time_s: FloatArray,
    accel_mps2: FloatArray,
    gyro_radps: FloatArray,
    calibration: Calibration,
) -> Conditioned:
    """One sensor's marks with its signals in segment axes."""
    return Conditioned(
        site=signals.site,
        accel_mps2=accel_mps2,
        gyro_radps=gyro_radps,
        measured=signals.measured,
        accel_clipped=signals.accel_clipped,
        gyro_clipped=signals.gyro_clipped,
        calibration=calibration,
        gyro_hidden_radps=signals.gyro_hidden_radps,
        turning=None if signals.slip is None else _mask_interval(time_s, signals.slip.span),
    )


def _find_up_after(
    time_s: FloatArray, accel_mps2: FloatArray, standing: Standing
) -> tuple[float, float, float] | None:
    """Gravity in the standing after the run, as a unit vector; None where nothing is compared."""
    if standing.before is None or standing.compared is None:
        return None
    mean = accel_mps2[_mask_interval(time_s, standing.compared)].mean(axis=0)
    x, y, z = mean / np.linalg.norm(mean)
    return float(x), float(y), float(z)


def _find_loss(
    segment: Conditioned, record: SensorRecord, settings: CalibrationSettings
) -> RaisedFlag | None:
    """Why a sensor cannot be used; None where it can."""
    moved, rests = segment.calibration.zero_moved_radps, segment.calibration.rests
    if moved > np.radians(settings.lost_degps):
        return _make_zero_flag(segment.site, moved, left_out=True)
    fault = find_axes_fault(record, rests, settings.columns)
    if fault is None:
        return None
    values: Values = {
        "off_mps2": fault.off_mps2,
        "columns": fault.columns,
        "then_off_mps2": fault.then_off_mps2,
        "left_out": True,
    }
    return RaisedFlag("axes_disagree", values, segment.site)


def _make_zero_flag(site: Site, moved_radps: float, left_out: bool) -> RaisedFlag:
    by_degps = float(np.degrees(moved_radps))
    return RaisedFlag("gyro_zero_moved", {"by_degps": by_degps, "left_out": left_out}, site)


def _list_zero_flags(segments: Mapping[Site, Conditioned]) -> list[RaisedFlag]:
    """A flag for each gyroscope in use whose zero has moved during the run."""
    moved = {site: s.calibration.zero_moved_radps for site, s in segments.items()}
    return [_make_zero_flag(site, by, left_out=False) for site, by in moved.items() if by > 0.0]


def _mask_interval(time_s: FloatArray, part: Interval) -> NDArray[np.bool_]:
    return (time_s >= part.start_s) & (time_s <= part.end_s)


def _compute_rotation(
    site: Site, axes: Axes, settings: CalibrationSettings
) -> tuple[FloatArray, float]:
    """Matrix from sensor to segment axes; a foot's long axis points outward by toe-out."""
    forward, axis_u = axes.forward, axes.axis_u_rad
    if is_foot(site):
        toe_out = np.radians(settings.toe_out_deg) * (1 if side_of(site) == "left" else -1)
        forward = np.cos(toe_out) * forward + np.sin(toe_out) * np.cross(axes.up, forward)
        axis_u = float(np.hypot(axis_u, np.radians(settings.toe_out_u_deg)))
    return np.stack((forward, np.cross(axes.up, forward), axes.up)), axis_u
