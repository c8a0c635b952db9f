"""Made-up runs that several tests look at, made once."""

from dataclasses import replace
from functools import cache

import numpy as np

from imuproc.core.recording import Start
from imuproc.synth.plan import Fault, RunPlan, draw_plan
from imuproc.synth.runs import RunMotion, compute_motion_truth, make_motion
from imuproc.synth.truth import Truth


@cache
def athlete() -> RunPlan:
    """One athlete drawn at random."""
    return draw_plan(np.random.default_rng(2031), distance_m=20.0)


@cache
def motion(start: Start = "blocks", faults: tuple[Fault, ...] = ()) -> RunMotion:
    """A run of that athlete."""
    return make_motion(replace(athlete(), start=start, faults=faults))


@cache
def truth(start: Start = "blocks", faults: tuple[Fault, ...] = ()) -> Truth:
    """Truth of that run."""
    return compute_motion_truth(motion(start, faults))
