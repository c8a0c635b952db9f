"""Short recordings, some of them with faults, on which every setting shows that it matters."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Final

import numpy as np

from imuproc.core.recording import Clock, Recording, SensorLog
from imuproc.core.sites import SITES, Site
from imuproc.synth.moments import with_jumps, with_taps
from imuproc.synth.plan import RunPlan, steady_plan
from imuproc.synth.runs import RunMotion, make_motion, make_rig, sampled, simulate_motion
from imuproc.synth.sensors.faults import FAULTS, running_span
from tests.pipeline.watched import Changes
from tests.simulated import between, only, plan_of

RATE_HZ: Final = 400.0
_LEGS: Final = SITES[:4]
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


def _spoiled(*faults: tuple[str, float], seed: int = 1) -> Callable[[], Recording]:
    """The sprint with faults of sensors."""

    def make() -> Recording:
        recording = _recorded()
        for number, (name, severity) in enumerate(faults):
            rng = np.random.default_rng([seed, number])
            recording = FAULTS[name].spoil(recording, severity, rng)
        return recording

    return make


def _changed(change: Callable[[SensorLog], SensorLog], *sites: Site) -> Callable[[], Recording]:
    def make() -> Recording:
        recording = _recorded()
        logs = {s: change(log) if s in sites else log for s, log in recording.logs.items()}
        return replace(recording, logs=logs)

    return make


def _later(log: SensorLog) -> SensorLog:
    return replace(log, time_s=log.time_s + 0.03)


def _in_bursts(log: SensorLog) -> SensorLog:
    """Stamped as the samples came in: eight at a time."""
    row = np.arange(len(log.time_s))
    return replace(log, time_s=log.time_s[row - row % 8] + 1e-4 * (row % 8))


def _disordered(log: SensorLog) -> SensorLog:
    """A few stamps in the run too late, the last one by far."""
    time_s = log.time_s.copy()
    time_s[1000:1003] += 0.2
    time_s[-1] += 60.0
    return replace(log, time_s=time_s)


def _run_alone(log: SensorLog) -> SensorLog:
    """Without the standing before and after."""
    first, last = running_span(log)
    return between(log, first + 0.4, last - 0.4)


def _from_set_position(log: SensorLog) -> SensorLog:
    """From the set position on, in which an athlete is still but does not stand."""
    return between(log, log.time_s[0] + 2.0, running_span(log)[1])


def _scaled(log: SensorLog) -> SensorLog:
    return replace(log, gyro_radps=1.06 * log.gyro_radps)


def _far_away(log: SensorLog) -> SensorLog:
    return replace(log, time_s=np.where(log.time_s > log.time_s[1500], 2600.0, 0.0) + log.time_s)


def _stated() -> Callable[[], Recording]:
    """The sprint with other words in the session file."""

    def make() -> Recording:
        recording = _recorded()
        athlete = replace(recording.athlete, shank_length_m=None)
        return replace(recording, athlete=athlete, run=replace(recording.run, distance_m=60.0))

    return make


def _on_clocks(clock: Clock, taps: bool = False) -> Callable[[], Recording]:
    """The sprint after a jump or a tap, each sensor on a clock of its own."""

    def make() -> Recording:
        rng = np.random.default_rng(8)
        motion = _sprint()
        common = with_taps(motion, (0.7,)) if taps else with_jumps(motion, 1, 1, rng, 0.004)
        rig = make_rig("mid", 200.0, rng, SITES[:5], clock)
        logs = sampled(common.skin, rig, rng)
        recording = _recorded()
        return replace(recording, logs=logs, run=replace(recording.run, clock=clock))

    return make


_FOOT, _SHANK = "left_foot", "left_shank"

SCENES: Final[Mapping[str, Scene]] = {
    "sprint": Scene(_recorded, ()),
    "shanks": Scene(
        lambda: only(_recorded(), "left_shank", "right_shank"),
        ("unaided", "coarse", "runs", "motion", "estimators", "fusion"),
    ),
    "easy": Scene(
        lambda: _recorded(_easy),
        ("calibration", "runs", "coarse", "selection", "unaided", "refine", "fusion", "motion")
        + ("estimators",),
    ),
    "feet": Scene(
        lambda: only(_recorded(_easy), "left_foot", "right_foot"),
        ("runs", "coarse", "unaided", "refine", "motion"),
    ),
    "belt": Scene(lambda: _recorded(_belt, 250.0), ("motion", "estimators.distance", "refine")),
    "low": Scene(
        lambda: _recorded(_sprint, 120.0, SITES[:5], "low"),
        ("sanity", "timebase", "calibration", "unaided", "refine", "motion.rate"),
    ),
    "spoiled": Scene(
        _spoiled(("held_in_swing", 0.03), ("stuck", 0.3), ("spikes", 0.5), ("gaps", 0.06)),
        ("sanity", "timebase", "calibration", "estimators.gaps", "motion", "fusion"),
    ),
    "held": Scene(_spoiled(("held_often", 0.2)), ("sanity", "estimators.gaps", "timebase")),
    "torn": Scene(_spoiled(("gaps", 0.2)), ("calibration", "timebase", "estimators.gaps", "refine")),
    "clipped": Scene(
        _spoiled(("gyro_clipping_unstated", 0.8), ("accel_clipping", 0.6)),
        ("sanity", "timebase.range", "clocks.lag", "estimators.gaps", "motion"),
    ),
    "stamps": Scene(
        _spoiled(("jitter", 0.4), ("drops", 0.05), ("duplicates", 0.05)), ("timebase", "sanity")
    ),
    "bursts": Scene(_changed(_in_bursts, _FOOT), ("timebase.stamps",)),
    "disordered": Scene(_changed(_disordered, _FOOT), ("timebase.stamps",)),
    "far": Scene(_changed(_far_away, _FOOT), ("timebase.stamps", "sanity")),
    "run_alone": Scene(_changed(_run_alone, *_LEGS), ("sanity", "calibration")),
    "set": Scene(_changed(_from_set_position, *_LEGS), ("calibration", "estimators.upright")),
    "slip": Scene(_spoiled(("slip", 20.0), seed=2), ("motion", "calibration")),
    "axes": Scene(_spoiled(("swapped_axes", 0.0)), ("calibration",)),
    "scale": Scene(_changed(_scaled, *_LEGS), ("motion.rate", "calibration")),
    "unit": Scene(_spoiled(("wrong_unit", 1.0)), ("sanity",)),
    "names": Scene(_spoiled(("wrong_names", 2.0)), ("calibration.pairing",)),
    "legs": Scene(_spoiled(("wrong_names", 1.0)), ("estimators.sides",)),
    "heavy": Scene(_spoiled(("gravity_scale", 15.0)), ("sanity",)),
    "bias": Scene(_spoiled(("bias_jump", 15.0)), ("calibration", "motion")),
    "stated": Scene(_stated(), ("estimators",)),
    "slow": Scene(_spoiled(("slow_clock", 1.0)), ("clocks", "alternation", "sanity")),
    "off": Scene(_changed(_later, _FOOT), ("clocks",)),
    "leg_off": Scene(_changed(_later, _FOOT, _SHANK), ("alternation",)),
    "jumps": Scene(_on_clocks("jump"), ("clocks", "estimators.clock")),
    "taps": Scene(_on_clocks("jump", taps=True), ("clocks",)),
    "separate": Scene(_on_clocks("separate"), ("clocks",)),
    "long": Scene(
        _spoiled(("gaps", 0.06)), ("long",), {"long.longest_whole_samples": 1000}
    ),
}
