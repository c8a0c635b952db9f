"""Runs with jumps or taps, logged once and then stamped by all kinds of clocks."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from imuproc.core.recording import SensorLog
from imuproc.core.sites import SITES, Site
from imuproc.synth.moments import add_jumps, add_taps
from imuproc.synth.plan import draw_plan
from imuproc.synth.runs import compute_motion_truth, make_motion, make_rig
from imuproc.synth.sensors.imperfect import sample_log
from imuproc.synth.truth import Truth

RATE_HZ = 250.0


@dataclass(frozen=True, eq=False)
class Made:
    """Logs on one clock that is right, and when the run is on it."""

    logs: dict[Site, SensorLog]
    truth: Truth
    run_s: float


@cache
def made(before: int, after: int, apart_s: float = 0.0, seed: int = 3, taps: bool = False) -> Made:
    """A sprint of 20 m with so many jumps before and after it, or with one tap before it."""
    rng = np.random.default_rng([seed, 5])
    motion = make_motion(draw_plan(np.random.default_rng(seed), "standing", 20.0))
    jumps = add_jumps(motion, before, after, rng, apart_s)
    common = add_taps(motion, (1.2,)) if taps else jumps
    rig = make_rig("mid", RATE_HZ, rng, SITES[:4])
    start_s = next(iter(rig.stamps.values())).start_s
    logs = {
        site: sample_log(common.skin[site], mount, site, rig.model, rig.stamps[site], rng)
        for site, mount in rig.mounts.items()
    }
    truth = compute_motion_truth(motion).shift_clock(start_s + common.run_from_s)
    return Made(logs, truth, float(truth.steps["touchdown_s"].iloc[3]))


@dataclass(frozen=True)
class Clock:
    """A clock that is off."""

    offset_s: float
    drift_ppm: float

    def of(self, time_s):
        """What it shows at an instant."""
        return self.offset_s + time_s * (1.0 + 1e-6 * self.drift_ppm)


def stamped(logs: dict[Site, SensorLog], clocks: dict[Site, Clock]) -> dict[Site, SensorLog]:
    """The logs as loggers with these clocks would have stamped them."""
    return {
        site: replace(log, time_s=clocks[site].of(log.time_s)) if site in clocks else log
        for site, log in logs.items()
    }


def drawn(rng: np.random.Generator, ppm: float = 50.0) -> dict[Site, Clock]:
    """A clock for each sensor, hours apart, the first one slow or fast too."""
    return {
        site: Clock(
            float(rng.uniform(-9000.0, 9000.0)), float(np.clip(rng.normal(0, ppm), -200, 200))
        )
        for site in SITES[:4]
    }
