"""Short recordings, some of them with faults, on which every setting shows that it matters."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Final

import numpy as np
from imuproc.synth.sensors.faults_held import with_held

from imuproc.core.recording import Clock, Recording, SensorLog
from imuproc.core.sites import SITES, Site
from imuproc.dsp.rotations import quat_from_rotvec, quat_to_matrix
from imuproc.synth.moments import with_jumps, with_taps
from imuproc.synth.plan import steady_plan
from imuproc.synth.runs import RunMotion, make_motion, make_rig, sampled, simulate_motion
from imuproc.synth.sensors.faults import FAULTS, running_span
from tests.pipeline.watched import Changes
from tests.simulated import between, only, plan_of, with_logs

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
def _sprint() -> RunMotion:
    return make_motion(replace(plan_of(417, distance_m=12.0), walk_steps=2, **_SHORT))


@cache
def _easy(treadmill: bool = False) -> RunMotion:
    plan = steady_plan(np.random.default_rng(5), 3.6, 14.0, treadmill)
    return make_motion(replace(plan, walk_steps=2, stand_before_s=1.5, stand_after_s=1.2))


def _belt() -> RunMotion:
    return _easy(treadmill=True)


@cache
def _recorded(
    motion: Callable[[], RunMotion] = _sprint,
    rate_hz: float = RATE_HZ,
    sites: tuple[Site, ...] = _LEGS,
    grade: str = "mid",
) -> Recording:
    rng = np.random.default_rng(3)
    return simulate_motion(motion(), make_rig(grade, rate_hz, rng, sites), rng)[0]


def _spoiled(
    *faults: tuple[str, float], sites: tuple[Site, ...] = _LEFT, of: tuple[Site, ...] = _LEFT
) -> Callable[[], Recording]:
    """The sprint, or some of its sensors, with faults in some of them."""

    def make() -> Recording:
        recording = only(_recorded(), *of)
        for number, (name, severity) in enumerate(faults):
            rng = np.random.default_rng([1, number])
            spoiled = FAULTS[name].spoil(only(recording, *sites), severity, rng)
            recording = replace(recording, logs={**recording.logs, **spoiled.logs})
        return recording

    return make


def _changed(
    change: Callable[[SensorLog], SensorLog], *sites: Site, of: tuple[Site, ...] = _LEFT
) -> Callable[[], Recording]:
    def make() -> Recording:
        recording = only(_recorded(), *of)
        logs = {s: change(log) if s in sites else log for s, log in recording.logs.items()}
        return replace(recording, logs=logs)

    return make


def _later(by_s: float) -> Callable[[SensorLog], SensorLog]:
    return lambda log: replace(log, time_s=log.time_s + by_s)


def _middle_s(log: SensorLog) -> float:
    return 0.5 * sum(running_span(log))


def _jumped(log: SensorLog) -> SensorLog:
    """By a clock that leaps in the middle of the run."""
    return replace(log, time_s=log.time_s + 0.06 * (log.time_s > _middle_s(log)))


def _set_back(log: SensorLog) -> SensorLog:
    return replace(log, time_s=log.time_s - 1.5 * (log.time_s > _middle_s(log)))


def _first_half(log: SensorLog) -> SensorLog:
    return between(log, log.time_s[0], _middle_s(log))


def _in_bursts(log: SensorLog) -> SensorLog:
    """Stamped as the samples came in: eight at a time."""
    row = np.arange(len(log.time_s))
    return replace(log, time_s=log.time_s[row - row % 8] + 1e-4 * (row % 8))


def _disordered(log: SensorLog) -> SensorLog:
    """Some stamps in the run too late, three of them in a row, and the last one by far."""
    time_s = log.time_s.copy()
    time_s[1000:1003] += 0.2
    time_s[200:900:100] += 0.2
    time_s[-1] += 60.0
    return replace(log, time_s=time_s)


def _far_away(log: SensorLog) -> SensorLog:
    return replace(log, time_s=np.where(log.time_s > log.time_s[1500], 2600.0, 0.0) + log.time_s)


def _run_alone(log: SensorLog) -> SensorLog:
    """Without the standing before and after."""
    first, last = running_span(log)
    return between(log, first + 0.4, last - 0.4)


def _from_set_position(log: SensorLog) -> SensorLog:
    """From the set position on, in which an athlete is still but does not stand."""
    return between(log, log.time_s[0] + 2.0, running_span(log)[1])


def _until_the_end(log: SensorLog) -> SensorLog:
    """Without the standing after the run."""
    return between(log, log.time_s[0], running_span(log)[1])


def _leaning(log: SensorLog) -> SensorLog:
    """The limb 40 deg off in the still stretch before the run, which is the only one."""
    axis = np.linalg.eigh(log.gyro_radps.T @ log.gyro_radps)[1][:, -1]
    turn = quat_to_matrix(quat_from_rotvec(np.radians(40.0) * axis))
    still = log.time_s < log.time_s[0] + 1.4
    accel = np.where(still[:, None], log.accel_mps2 @ turn.T, log.accel_mps2)
    return _until_the_end(replace(log, accel_mps2=accel))


def _scaled(by: float) -> Callable[[SensorLog], SensorLog]:
    return lambda log: replace(log, gyro_radps=by * log.gyro_radps)


def _clipped(log: SensorLog) -> SensorLog:
    """At the ends of its range for long, and again and again; the range is not quite stated."""
    gyro, accel = (0.45 * float(np.abs(x).max()) for x in (log.gyro_radps, log.accel_mps2))
    return replace(
        log,
        gyro_radps=np.clip(log.gyro_radps, -gyro, gyro),
        accel_mps2=np.clip(log.accel_mps2, -accel, accel),
        gyro_range_radps=gyro / 0.9997 if log.site == _FOOT else None,
        accel_range_mps2=None,
    )


def _coarse(log: SensorLog) -> SensorLog:
    """A sensor of few steps, held for a while at rest, as it comes to rest, and in the run."""
    accel, gyro = np.round(log.accel_mps2, 1), np.round(log.gyro_radps, 2)
    log = replace(log, accel_mps2=accel, gyro_radps=gyro)
    since_s = log.time_s - log.time_s[0]
    first, last = (at - log.time_s[0] for at in running_span(log))
    held = np.zeros(len(since_s), dtype=bool)
    for start_s, long_s in (
        *((0.4, 0.1), (0.8, 0.3), (first - 0.3, 0.2), (last - 0.05, 0.3), (last + 0.6, 0.4)),
        *((first + 0.5, 0.02), (first + 1.0, 0.05)),
    ):
        held |= (since_s > start_s) & (since_s < start_s + long_s)
    return with_held(log, held)


def _stated(distance_m: float) -> Callable[[], Recording]:
    """The sprint with another distance in the session file, and no length of the shank."""

    def make() -> Recording:
        recording = _recorded()
        athlete = replace(recording.athlete, shank_length_m=None)
        return replace(
            recording, athlete=athlete, run=replace(recording.run, distance_m=distance_m)
        )

    return make


def _torn_leg() -> Recording:
    """Neither sensor of a leg has samples about one of its contacts."""
    recording = _recorded()
    start_s = _middle_s(recording.logs[_FOOT]) - 0.15
    kept = {
        site: log.take((log.time_s < start_s) | (log.time_s > start_s + 0.3))
        if site in _LEFT
        else log
        for site, log in recording.logs.items()
    }
    return replace(recording, logs=kept)


def _hopped() -> Recording:
    """The left leg is logged in the first half of the run, the right one in the second."""
    recording = _recorded()
    logs = {
        site: _first_half(log) if site in _LEFT else between(log, _middle_s(log), log.time_s[-1])
        for site, log in recording.logs.items()
    }
    return replace(recording, logs=logs)


def _slipped(site: Site) -> Callable[[], Recording]:
    """A sensor turned on its limb, and the run is all that there is after that."""

    def make() -> Recording:
        recording = _spoiled(("slip", 20.0), sites=(site,), of=_LEGS)()
        return with_logs(recording, _until_the_end)

    return make


def _on_clocks(
    clock: Clock, sites: tuple[Site, ...], taps: tuple[float, ...] = ()
) -> Callable[[], Recording]:
    """The sprint between jumps or after taps, each sensor on a clock of its own."""

    def make() -> Recording:
        rng = np.random.default_rng(8)
        motion = _sprint()
        common = with_taps(motion, taps) if taps else with_jumps(motion, 1, 1, rng, 0.004)
        logs = sampled(common.skin, make_rig("mid", 200.0, rng, sites, clock), rng)
        recording = _recorded()
        return replace(recording, logs=logs, run=replace(recording.run, clock=clock))

    return make


def _separate_and_jumped() -> Recording:
    recording = _on_clocks("separate", _LEFT)()
    return replace(recording, logs={**recording.logs, _FOOT: _jumped(recording.logs[_FOOT])})


SCENES: Final[Mapping[str, Scene]] = {
    "sprint": Scene(_recorded, ()),
    "shanks": Scene(
        lambda: only(_recorded(), "left_shank", "right_shank"),
        ("unaided", "coarse", "runs", "motion", "estimators", "fusion", "selection"),
    ),
    "feet": Scene(
        lambda: only(_recorded(), *_FEET),
        ("runs", "coarse", "unaided", "refine", "motion", "selection"),
    ),
    "easy": Scene(
        lambda: _recorded(_easy),
        ("calibration", "runs", "coarse", "selection", "unaided", "refine", "fusion", "motion")
        + ("estimators",),
    ),
    "easy_feet": Scene(
        lambda: only(_recorded(_easy), *_FEET), ("coarse", "unaided", "refine", "motion")
    ),
    "belt": Scene(
        lambda: only(_recorded(_belt, 250.0), *_LEFT), ("motion", "estimators.distance", "refine")
    ),
    "low": Scene(
        lambda: only(_recorded(_sprint, 120.0, SITES[:5], "low"), *_LEFT),
        ("sanity", "timebase", "calibration", "coarse", "unaided", "refine", "motion.rate"),
    ),
    "spoiled": Scene(
        _spoiled(("held_in_swing", 0.03), ("stuck", 0.3), ("spikes", 0.5), ("gaps", 0.06)),
        ("sanity", "timebase", "calibration", "estimators.gaps", "motion", "fusion"),
    ),
    "held": Scene(
        _spoiled(("held_often", 0.2), sites=(_FOOT,)), ("sanity", "estimators.gaps", "timebase")
    ),
    "coarse": Scene(_changed(_coarse, _FOOT), ("sanity",)),
    "torn": Scene(
        _spoiled(("gaps", 0.2)), ("calibration", "timebase", "estimators.gaps", "refine")
    ),
    "torn_leg": Scene(_torn_leg, ("selection", "refine", "estimators.gaps")),
    "hopped": Scene(_hopped, ("selection",)),
    "clipped": Scene(
        _changed(_clipped, *_LEFT),
        ("sanity", "timebase.range", "clocks.lag", "estimators.gaps", "motion"),
    ),
    "stamps": Scene(
        _spoiled(("jitter", 0.4), ("drops", 0.05), ("duplicates", 0.05)), ("timebase", "sanity")
    ),
    "bursts": Scene(_changed(_in_bursts, _FOOT), ("timebase.stamps",)),
    "disordered": Scene(_changed(_disordered, _FOOT), ("timebase.stamps",)),
    "far": Scene(_changed(_far_away, _FOOT), ("timebase.stamps", "sanity")),
    "run_alone": Scene(
        _changed(_run_alone, *_LEFT), ("sanity", "calibration", "coarse", "selection")
    ),
    "feet_alone": Scene(_changed(_run_alone, *_FEET, of=_FEET), ("coarse", "selection")),
    "set": Scene(_changed(_from_set_position, *_LEFT), ("calibration", "estimators.upright")),
    "leaning": Scene(_changed(_leaning, *_LEFT), ("calibration", "estimators.upright")),
    "slip": Scene(_spoiled(("slip", 20.0), sites=(_FOOT,), of=_LEGS), ("motion", "calibration")),
    "slip_foot": Scene(_slipped(_FOOT), ("motion.slip",)),
    "slip_shank": Scene(_slipped(_SHANK), ("motion.slip",)),
    "axes": Scene(
        _spoiled(("swapped_axes", 0.0)),
        ("calibration",),
        {"calibration.columns.sound_mps2": 0.0, "calibration.columns.fits_mps2": 50.0},
    ),
    "scale": Scene(
        _changed(_scaled(1.06), *_LEFT, "right_foot", of=_LEGS), ("motion.rate", "calibration")
    ),
    "uneven": Scene(_changed(_scaled(0.55), _FOOT), ("estimators.sides",)),
    "unit": Scene(_spoiled(("wrong_unit", 1.0), sites=(_FOOT,)), ("sanity",)),
    "sides": Scene(_spoiled(("wrong_names", 2.0), of=_LEGS, sites=_LEGS), ("calibration.pairing",)),
    "legs": Scene(_spoiled(("wrong_names", 1.0), of=_LEGS, sites=_LEGS), ("estimators.sides",)),
    "segments": Scene(_spoiled(("wrong_names", 0.0)), ("estimators.sides",)),
    "heavy": Scene(_spoiled(("gravity_scale", 18.0), ("wrong_rate", 1.0)), ("sanity",)),
    "bias": Scene(_spoiled(("bias_jump", 1.2), sites=(_FOOT,)), ("calibration", "motion")),
    "stated": Scene(_stated(17.0), ("estimators",), {"estimators.distance.fading_from_m": 5.0}),
    "too_far": Scene(_stated(3.0), ("estimators.distance",)),
    "jumps": Scene(
        _on_clocks("jump", ("left_shank", "right_foot", "pelvis")), ("clocks", "estimators.clock")
    ),
    "taps": Scene(_on_clocks("jump", ("left_shank", "right_shank"), (0.4, 0.75)), ("clocks",)),
    "separate": Scene(_separate_and_jumped, ("clocks",), {"clocks.piece_s": 2.0}),
    "slow": Scene(_spoiled(("slow_clock", 1.0), sites=(_FOOT,)), ("clocks", "sanity")),
    "off": Scene(_changed(_later(1.5), _FOOT), ("clocks",)),
    "leg_off": Scene(_changed(_later(0.06), *_LEFT, of=_LEGS), ("alternation",)),
    "long": Scene(
        _spoiled(("gaps", 0.06)),
        ("long",),
        {"long.longest_whole_samples": 1000, "calibration.standing.search_s": 1.0},
    ),
    "set_back": Scene(
        _changed(_set_back, _FOOT), ("long.set_back",), {"long.longest_whole_samples": 1000}
    ),
}
