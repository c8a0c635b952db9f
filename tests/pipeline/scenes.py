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
from tests.simulated import only, plan_of, turned

RATE_HZ: Final = 400.0
_LEGS: Final = SITES[:4]
_SHORT: Final = {"stand_before_s": 1.5, "stand_after_s": 1.2, "slow_distance_m": 6.0}


@dataclass(frozen=True)
class Scene:
    """A recording, and the settings that are not as usual on it."""

    make: Callable[[], Recording]
    base: Changes = field(default_factory=dict)


@cache
def _sprint() -> RunMotion:
    return make_motion(replace(plan_of(417, distance_m=12.0), walk_steps=2, **_SHORT))


@cache
def _easy(treadmill: bool = False) -> RunMotion:
    plan = steady_plan(np.random.default_rng(5), 3.6, 14.0, treadmill)
    return make_motion(replace(plan, walk_steps=2, stand_before_s=1.5, stand_after_s=1.2))


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


SCENES: Final[Mapping[str, Scene]] = {
    "sprint": Scene(_recorded),
    "easy": Scene(lambda: _recorded(_easy)),
    "feet": Scene(lambda: only(_recorded(), "left_foot", "right_foot")),
    "shanks": Scene(lambda: only(_recorded(), "left_shank", "right_shank")),
    "belt": Scene(lambda: _recorded(lambda: _easy(True), 250.0)),
    "low": Scene(lambda: _recorded(_sprint, 120.0, SITES[:5], "low")),
    "spoiled": Scene(_spoiled(("held_in_swing", 0.03), ("stuck", 0.3), ("spikes", 0.5), ("gaps", 0.06))),
    "clipped": Scene(_spoiled(("gyro_clipping_unstated", 0.8), ("accel_clipping", 0.6))),
    "stamps": Scene(_spoiled(("jitter", 0.4), ("drops", 0.05), ("duplicates", 0.05))),
    "slip": Scene(_spoiled(("slip", 20.0), seed=2)),
    "axes": Scene(_spoiled(("swapped_axes", 0.0))),
    "names": Scene(_spoiled(("wrong_names", 2.0))),
    "legs": Scene(_spoiled(("wrong_names", 1.0))),
    "heavy": Scene(_spoiled(("gravity_scale", 15.0))),
    "bias": Scene(_spoiled(("bias_jump", 15.0))),
    "slow": Scene(_spoiled(("slow_clock", 1.0))),
    "off": Scene(_changed(_later, "left_foot")),
    "leg_off": Scene(_changed(_later, "left_foot", "left_shank")),
    "jumps": Scene(_on_clocks("jump")),
    "taps": Scene(_on_clocks("jump", taps=True)),
    "separate": Scene(_on_clocks("separate")),
    "long": Scene(_recorded, {"long.longest_whole_samples": 1000}),
}
