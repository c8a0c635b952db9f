"""Recordings to be checked: sensors that lie, an athlete who stands, a run; faults put in."""

from dataclasses import replace
from functools import cache

import numpy as np

from imuproc.checks.findings import CheckReport, Reason, SensorCheck
from imuproc.core.recording import Recording
from imuproc.core.sites import Site
from imuproc.synth.plan import draw_plan
from imuproc.synth.runs import simulate_run
from imuproc.synth.sensors.faults import FAULTS
from imuproc.synth.sensors.lying import make_lying_recording

RATE_HZ = 400.0
RUN_HZ = 250.0


@cache
def lying(grade: str = "mid", duration_s: float = 30.0, rate_hz: float = RATE_HZ) -> Recording:
    return make_lying_recording(grade, duration_s, rate_hz, np.random.default_rng(12))


@cache
def running(grade: str = "mid", seed: int = 3) -> Recording:
    plan = draw_plan(np.random.default_rng([2031, seed]), start="three-point", distance_m=20.0)
    plan = replace(plan, seed=seed)
    recording, _ = simulate_run(plan, grade, RUN_HZ, np.random.default_rng([seed, 5]))
    return recording


@cache
def standing(grade: str = "mid") -> Recording:
    """The athlete stands still with all sensors on, for the 3 s before a run and no longer."""
    recording = running(grade)
    start_s = next(iter(recording.logs.values())).time_s[0]
    logs = {s: log.take(log.time_s < start_s + 2.9) for s, log in recording.logs.items()}
    return replace(recording, logs=logs)


def with_log(recording: Recording, site: Site, **changes: object) -> Recording:
    """The recording with one log changed."""
    log = replace(recording.logs[site], **changes)  # type: ignore[arg-type]
    return replace(recording, logs={**recording.logs, site: log})


def spoiled(kind: str, level: int, recording: Recording, seed: int = 4) -> Recording:
    """A fault of the simulator put into a recording."""
    fault = FAULTS[kind]
    return fault.spoil(recording, fault.severities[level], np.random.default_rng(seed))


def all_reasons(report: CheckReport) -> list[Reason]:
    own = [reason for sensor in report.sensors for reason in sensor.reasons]
    return [*report.reasons, *own]


def serious(report: CheckReport) -> list[Reason]:
    """Reasons that cost a verdict."""
    return [reason for reason in all_reasons(report) if reason.severity != "note"]


def sensor(report: CheckReport, site: Site) -> SensorCheck:
    return next(one for one in report.sensors if one.site == site)
