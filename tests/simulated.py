"""Simulated runs that several test files look at, each made and processed once in a session."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pandas as pd

import imuproc
from imuproc.core.recording import Recording, SensorLog, Start
from imuproc.core.result import Result
from imuproc.core.sites import SITES, Site
from imuproc.synth.plan import Fault, RunPlan, Technique, draw_plan
from imuproc.synth.runs import simulate_run
from imuproc.synth.truth import Truth

RATE_HZ = 500.0


def plan_run(
    seed: int, start: Start = "blocks", distance_m: float = 20.0, faults: tuple[Fault, ...] = ()
) -> RunPlan:
    """A run of an athlete drawn at random; the seed alone decides who."""
    rng = np.random.default_rng(seed)
    return draw_plan(rng, start=start, distance_m=distance_m, faults=faults)


@lru_cache(maxsize=24)
def make_run(plan: RunPlan, sites: tuple[Site, ...] = SITES[:4]) -> tuple[Recording, Truth]:
    """Recording and truth of a plan, mid-grade sensors at 500 Hz."""
    return simulate_run(plan, "mid", RATE_HZ, np.random.default_rng([plan.seed, 77]), sites)


@lru_cache(maxsize=24)
def make_result(plan: RunPlan, sites: tuple[Site, ...] = SITES[:4]) -> Result:
    """What ``imuproc.process`` gives for the same."""
    return imuproc.process(make_run(plan, sites)[0])


USUAL = plan_run(417)
"""A sprint of 20 m out of blocks, all four sensors."""

PUBLISHED = replace(
    plan_run(418, distance_m=30.0),
    technique=Technique(),
    contact_sd_s=0.0,
)
"""A sprint of 30 m whose contact times follow the published ones."""


def change_logs(recording: Recording, change: Callable[[SensorLog], SensorLog]) -> Recording:
    """The recording with every log changed."""
    return replace(recording, logs={site: change(log) for site, log in recording.logs.items()})


def keep_sites(recording: Recording, *sites: Site) -> Recording:
    """The recording with the logs of these sites alone."""
    return replace(recording, logs={site: recording.logs[site] for site in sites})


def cut_log(log: SensorLog, start_s: float, end_s: float) -> SensorLog:
    """Part of a log."""
    kept = (log.time_s >= start_s) & (log.time_s <= end_s)
    return log.take(kept)


def turn_log(log: SensorLog, matrix: np.ndarray) -> SensorLog:
    """The log of the same sensor mounted otherwise: its axes turned by a rotation matrix."""
    return replace(log, accel_mps2=log.accel_mps2 @ matrix.T, gyro_radps=log.gyro_radps @ matrix.T)


def select_running(truth: Truth) -> pd.DataFrame:
    """True running steps."""
    return truth.steps[truth.steps["gait"] == "run"].reset_index(drop=True)


def match_rows(steps: pd.DataFrame, truth: pd.DataFrame) -> list[tuple[int, int]]:
    """Rows (measured, true) of the same contact: same side, touchdown nearest and within 60 ms."""
    pairs = []
    for row, step in steps.iterrows():
        apart = (truth["touchdown_s"] - step["touchdown_s"]).abs()
        apart = apart.where(truth["side"] == step["side"], np.inf)
        if apart.min() < 0.06:
            pairs.append((int(str(row)), int(apart.argmin())))
    return pairs


def compute_errors(steps: pd.DataFrame, truth: pd.DataFrame, figure: str) -> np.ndarray:
    """Measured minus true at every matched step."""
    pairs = match_rows(steps, truth)
    rows, columns = [row for row, _ in pairs], [column for _, column in pairs]
    return steps[figure].to_numpy()[rows] - truth[figure].to_numpy()[columns]


def list_flag_names(result: Result, site: str | None = None) -> set[str]:
    """Names of the flags raised on a result, or on one sensor of it."""
    return {flag.name for flag in result.flags if site is None or flag.site == site}


def rename_sites(recording: Recording, names: Mapping[Site, Site]) -> Recording:
    """The recording as if each log had been named as another site."""
    logs = {
        new: replace(recording.logs[old], site=new)
        for old, new in names.items()
        if old in recording.logs
    }
    return replace(recording, logs=logs)
