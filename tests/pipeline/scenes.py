"""Short recordings, some of them with faults, on which every setting shows that it matters."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Final

import numpy as np

from imuproc.core.recording import Clock, Recording, SensorLog
from imuproc.core.sites import SITES, Site
from imuproc.dsp.rotations import quat_from_rotvec, quat_to_matrix
from imuproc.synth.moments import add_jumps, add_taps
from imuproc.synth.plan import draw_steady_plan
from imuproc.synth.runs import RunMotion, make_motion, make_rig, sample_sensors, simulate_motion
from imuproc.synth.sensors.faults import FAULTS
from imuproc.synth.sensors.log_faults import find_running_span
from imuproc.synth.sensors.repeated_samples import repeat_samples
from tests.pipeline.watched import Changes
from tests.simulated import change_logs, cut_log, keep_sites, plan_run

RATE_HZ: Final = 400.0
_LEGS: Final = SITES[:4]
_FOOT: Final = "left_foot"
_SHANK: Final = "left_shank"
_LEFT: Final[tuple[Site, ...]] = (_SHANK, _FOOT)
_FEET: Final[tuple[Site, ...]] = ("left_foot", "right_foot")
_SHORT: Final = {"stand_before_s": 1.5, "stand_after_s": 1.2, "slow_distance_m": 6.0}


@dataclass(frozen=True)
class Scene:
    """A recording, and the settings that are not as usual on it."""

    make: Callable[[], Recording]
    shows: tuple[str, ...]
    """Places of settings begin so that are tried here; none for all."""
    base: Changes = field(default_factory=dict)


@cache
def _run_sprint() -> RunMotion:
    return make_motion(replace(plan_run(417, distance_m=12.0), walk_steps=2, **_SHORT))


@cache
def _run_easy(treadmill: bool = False) -> RunMotion:
    plan = draw_steady_plan(np.random.default_rng(5), 3.6, 14.0, treadmill)
    return make_motion(replace(plan, walk_steps=2, stand_before_s=1.5, stand_after_s=1.2))


def _run_on_belt() -> RunMotion:
    return _run_easy(treadmill=True)


@cache
def _record(
    motion: Callable[[], RunMotion] = _run_sprint,
    rate_hz: float = RATE_HZ,
    sites: tuple[Site, ...] = _LEGS,
    grade: str = "mid",
) -> Recording:
    rng = np.random.default_rng(3)
    return simulate_motion(motion(), make_rig(grade, rate_hz, rng, sites), rng)[0]


def _spoil(
    *faults: tuple[str, float], sites: tuple[Site, ...] = _LEFT, of: tuple[Site, ...] = _LEFT
) -> Callable[[], Recording]:
    """The sprint, or some of its sensors, with faults in some of them."""

    def make() -> Recording:
        recording = keep_sites(_record(), *of)
        for number, (name, severity) in enumerate(faults):
            rng = np.random.default_rng([1, number])
            spoiled = FAULTS[name].spoil(keep_sites(recording, *sites), severity, rng)
            recording = replace(recording, logs={**recording.logs, **spoiled.logs})
        return recording

    return make


def _change(
    change: Callable[[SensorLog], SensorLog], *sites: Site, of: tuple[Site, ...] = _LEFT
) -> Callable[[], Recording]:
    def make() -> Recording:
        recording = keep_sites(_record(), *of)
        logs = {s: change(log) if s in sites else log for s, log in recording.logs.items()}
        return replace(recording, logs=logs)

    return make


def _shift_later(by_s: float) -> Callable[[SensorLog], SensorLog]:
    return lambda log: replace(log, time_s=log.time_s + by_s)


def _find_middle_s(log: SensorLog) -> float:
    return 0.5 * sum(find_running_span(log))


def _jump_clock(log: SensorLog) -> SensorLog:
    """By a clock that leaps in the middle of the run."""
    return replace(log, time_s=log.time_s + 0.06 * (log.time_s > _find_middle_s(log)))


def _set_clock_back(log: SensorLog) -> SensorLog:
    return replace(log, time_s=log.time_s - 1.5 * (log.time_s > _find_middle_s(log)))


def _cut_first_half(log: SensorLog) -> SensorLog:
    return cut_log(log, log.time_s[0], _find_middle_s(log))


def _stamp_in_bursts(log: SensorLog) -> SensorLog:
    """Stamped as the samples came in: eight at a time."""
    row = np.arange(len(log.time_s))
    return replace(log, time_s=log.time_s[row - row % 8] + 1e-4 * (row % 8))


def _disorder_stamps(log: SensorLog) -> SensorLog:
    """Some stamps in the run too late, three of them in a row, and the last one by far."""
    time_s = log.time_s.copy()
    time_s[1000:1003] += 0.2
    time_s[200:900:100] += 0.2
    time_s[-1] += 60.0
    return replace(log, time_s=time_s)


def _send_far_away(log: SensorLog) -> SensorLog:
    return replace(log, time_s=np.where(log.time_s > log.time_s[1500], 2600.0, 0.0) + log.time_s)


def _cut_run_alone(log: SensorLog) -> SensorLog:
    """Without the standing before and after."""
    first, last = find_running_span(log)
    return cut_log(log, first + 0.4, last - 0.4)


def _cut_from_set_position(log: SensorLog) -> SensorLog:
    """From the set position on, in which an athlete is still but does not stand."""
    return cut_log(log, log.time_s[0] + 2.0, find_running_span(log)[1])


def _cut_after_run(log: SensorLog) -> SensorLog:
    """Without the standing after the run."""
    return cut_log(log, log.time_s[0], find_running_span(log)[1])


def _lean(log: SensorLog) -> SensorLog:
    """The limb 40 deg off in the still stretch before the run, which is the only one."""
    axis = np.linalg.eigh(log.gyro_radps.T @ log.gyro_radps)[1][:, -1]
    turn = quat_to_matrix(quat_from_rotvec(np.radians(40.0) * axis))
    still = log.time_s < log.time_s[0] + 1.4
    accel = np.where(still[:, None], log.accel_mps2 @ turn.T, log.accel_mps2)
    return _cut_after_run(replace(log, accel_mps2=accel))


def _scale(by: float) -> Callable[[SensorLog], SensorLog]:
    return lambda log: replace(log, gyro_radps=by * log.gyro_radps)


def _clip(log: SensorLog) -> SensorLog:
    """At the ends of its range for long, and again and again; the range is not quite stated."""
    gyro, accel = (0.45 * float(np.abs(x).max()) for x in (log.gyro_radps, log.accel_mps2))
    return replace(
        log,
        gyro_radps=np.clip(log.gyro_radps, -gyro, gyro),
        accel_mps2=np.clip(log.accel_mps2, -accel, accel),
        gyro_range_radps=gyro / 0.9997 if log.site == _FOOT else None,
        accel_range_mps2=None,
    )


def _coarsen(log: SensorLog) -> SensorLog:
    """A sensor of coarse steps; samples repeat at rest, as it comes to rest and in the run."""
    accel, gyro = np.round(log.accel_mps2, 1), np.round(log.gyro_radps, 2)
    log = replace(log, accel_mps2=accel, gyro_radps=gyro)
    since_s = log.time_s - log.time_s[0]
    first, last = (at - log.time_s[0] for at in find_running_span(log))
    repeated = np.zeros(len(since_s), dtype=bool)
    for start_s, long_s in (
        *((0.4, 0.1), (0.8, 0.3), (first - 0.3, 0.2), (last - 0.05, 0.3), (last + 0.6, 0.4)),
        *((first + 0.5, 0.02), (first + 1.0, 0.05)),
    ):
        repeated |= (since_s > start_s) & (since_s < start_s + long_s)
    return repeat_samples(log, repeated)


def _state_distance(distance_m: float) -> Callable[[], Recording]:
    """The sprint with another distance in the session file, and no length of the shank."""

    def make() -> Recording:
        recording = _record()
        athlete = replace(recording.athlete, shank_length_m=None)
        return replace(
            recording, athlete=athlete, run=replace(recording.run, distance_m=distance_m)
        )

    return make


def _slip(site: Site) -> Callable[[], Recording]:
    """A sensor turned on its limb, and the run is all that there is after that."""

    def make() -> Recording:
        recording = _spoil(("slip", 20.0), sites=(site,), of=_LEGS)()
        return change_logs(recording, _cut_after_run)

    return make


def _record_on_clocks(
    clock: Clock, sites: tuple[Site, ...], taps: tuple[float, ...] = ()
) -> Callable[[], Recording]:
    """The sprint between jumps or after taps, each sensor on a clock of its own."""

    def make() -> Recording:
        rng = np.random.default_rng(8)
        motion = _run_sprint()
        common = add_taps(motion, taps) if taps else add_jumps(motion, 1, 1, rng, 0.004)
        logs = sample_sensors(common.skin, make_rig("mid", 200.0, rng, sites, clock), rng)
        recording = _record()
        return replace(recording, logs=logs, run=replace(recording.run, clock=clock))

    return make


def _separate_and_jump() -> Recording:
    recording = _record_on_clocks("separate", _LEFT)()
    return replace(recording, logs={**recording.logs, _FOOT: _jump_clock(recording.logs[_FOOT])})


def _record_left_side() -> Recording:
    """The sprint with all sensors of one side; of the leg's lengths only the stature is known."""
    recording = keep_sites(_record(sites=SITES), *_LEFT, "left_thigh", "pelvis", "trunk")
    athlete = replace(recording.athlete, shank_length_m=None, thigh_length_m=None)
    return replace(recording, athlete=athlete)


SCENES: Final[Mapping[str, Scene]] = {
    "left_leg": Scene(lambda: keep_sites(_record(), *_LEFT), ()),
    "sprint": Scene(_record, ()),
    "left_side": Scene(_record_left_side, ("motion.body_line", "estimators", "calibration.axes")),
    "shanks": Scene(
        lambda: keep_sites(_record(), "left_shank", "right_shank"),
        ("unaided", "coarse", "runs", "motion", "estimators", "fusion", "selection"),
    ),
    "feet": Scene(
        lambda: keep_sites(_record(), *_FEET),
        ("runs", "coarse", "unaided", "refine", "motion", "selection"),
    ),
    "easy": Scene(
        lambda: _record(_run_easy),
        (
            *("calibration", "runs", "coarse", "selection", "unaided", "refine", "fusion"),
            *("motion", "estimators"),
        ),
    ),
    "belt": Scene(
        lambda: keep_sites(_record(_run_on_belt, 250.0), *_LEFT),
        ("motion", "estimators.distance", "refine"),
    ),
    "low": Scene(
        lambda: keep_sites(_record(_run_sprint, 120.0, SITES[:5], "low"), *_LEFT),
        ("sanity", "timebase", "calibration", "coarse", "unaided", "refine", "motion.rate"),
    ),
    "spoiled": Scene(
        _spoil(("held_in_swing", 0.03), ("stuck", 0.3), ("spikes", 0.5), ("gaps", 0.06)),
        ("sanity", "timebase", "calibration", "estimators.gaps", "motion", "fusion"),
    ),
    "repeated": Scene(
        _spoil(("held_often", 0.2), sites=(_FOOT,)), ("sanity", "estimators.gaps", "timebase")
    ),
    "coarse": Scene(_change(_coarsen, _FOOT), ("sanity",)),
    "dropout": Scene(
        _spoil(("gaps", 0.2)), ("calibration", "timebase", "estimators.gaps", "refine")
    ),
    "clipped": Scene(
        _change(_clip, *_LEFT),
        ("sanity", "timebase.range", "clocks.lag", "estimators.gaps", "motion"),
    ),
    "stamps": Scene(
        _spoil(("jitter", 0.4), ("drops", 0.05), ("duplicates", 0.05)), ("timebase", "sanity")
    ),
    "bursts": Scene(_change(_stamp_in_bursts, _FOOT), ("timebase.stamps",)),
    "disordered": Scene(_change(_disorder_stamps, _FOOT), ("timebase.stamps",)),
    "far": Scene(_change(_send_far_away, _FOOT), ("timebase.stamps", "sanity")),
    "run_alone": Scene(
        _change(_cut_run_alone, *_LEFT), ("sanity", "calibration", "coarse", "selection")
    ),
    "set": Scene(_change(_cut_from_set_position, *_LEFT), ("calibration", "estimators.upright")),
    "leaning": Scene(_change(_lean, *_LEFT), ("calibration", "estimators.upright")),
    "slip": Scene(_spoil(("slip", 20.0), sites=(_FOOT,), of=_LEGS), ("motion", "calibration")),
    "slip_foot": Scene(_slip(_FOOT), ("motion.slip",)),
    "slip_shank": Scene(_slip(_SHANK), ("motion.slip",)),
    "axes": Scene(
        _spoil(("swapped_axes", 0.0)),
        ("calibration",),
        {"calibration.columns.sound_mps2": 0.0, "calibration.columns.fits_mps2": 50.0},
    ),
    "scale": Scene(
        _change(_scale(1.06), *_LEFT, "right_foot", of=_LEGS), ("motion.rate", "calibration")
    ),
    "uneven": Scene(_change(_scale(0.55), _FOOT), ("estimators.sides",)),
    "sides": Scene(_spoil(("wrong_names", 2.0), of=_LEGS, sites=_LEGS), ("calibration.pairing",)),
    "legs": Scene(_spoil(("wrong_names", 1.0), of=_LEGS, sites=_LEGS), ("estimators.sides",)),
    "heavy": Scene(_spoil(("gravity_scale", 18.0), ("wrong_rate", 1.0)), ("sanity",)),
    "gravity": Scene(_spoil(("gravity_scale", 8.0), sites=(_FOOT,)), ("sanity",)),
    "large_bias": Scene(_spoil(("bias_jump", 6.0), sites=(_FOOT,), of=_LEGS), ("calibration",)),
    "nearly_low": Scene(lambda: keep_sites(_record(_run_sprint, 196.0), *_LEFT), ("sanity",)),
    "stated": Scene(
        _state_distance(17.0), ("estimators",), {"estimators.distance.fading_from_m": 5.0}
    ),
    "too_far": Scene(_state_distance(3.0), ("estimators.distance",)),
    "jumps": Scene(
        _record_on_clocks("jump", ("left_shank", "right_foot", "pelvis")),
        ("clocks", "estimators.clock"),
    ),
    "taps": Scene(
        _record_on_clocks("jump", ("left_shank", "right_shank"), (0.4, 0.75)), ("clocks",)
    ),
    "separate": Scene(_separate_and_jump, ("clocks",), {"clocks.piece_s": 2.0}),
    "off": Scene(_change(_shift_later(1.5), _FOOT), ("clocks",)),
    "leg_off": Scene(_change(_shift_later(0.06), *_LEFT, of=_LEGS), ("alternation",)),
    "long": Scene(
        _spoil(("gaps", 0.06)),
        ("long",),
        {"long.longest_whole_samples": 1000, "calibration.standing.search_s": 1.0},
    ),
    "set_back": Scene(
        _change(_set_clock_back, _FOOT), ("long.set_back",), {"long.longest_whole_samples": 1000}
    ),
}
