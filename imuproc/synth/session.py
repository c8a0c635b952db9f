"""A whole made-up session on disk: session file, logs, and the truth beside them."""

import datetime
import gzip
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, get_args

import numpy as np
import pandas as pd

from imuproc.core.errors import SessionError
from imuproc.core.recording import Clock, SensorLog, Start
from imuproc.core.sites import SITES, Site, is_foot
from imuproc.core.units import ACCEL_TO_MPS2, GYRO_TO_RADPS
from imuproc.files.toml_writing import format_toml
from imuproc.files.whole import replace_file
from imuproc.synth.long import make_long_motion, record_long
from imuproc.synth.moments import add_jumps, record_common
from imuproc.synth.plan import FAULTS, Fault, RunPlan, draw_plan
from imuproc.synth.runs import make_motion, make_rig, record_motion
from imuproc.synth.sensors.imperfect import GRADES, SensorModel
from imuproc.synth.truth import Truth

STARTS: Final[tuple[Start, ...]] = ("blocks", "three-point", "crouch", "standing", "rolling")
LAYOUT: Final = "simulated"
FEET_LAYOUT: Final = "simulated-feet"

_SHORT: Final[dict[Site, str]] = {
    "left_shank": "ls",
    "left_foot": "lf",
    "right_shank": "rs",
    "right_foot": "rf",
    "pelvis": "pe",
    "left_thigh": "lt",
    "right_thigh": "rt",
    "trunk": "tr",
}
_CURVES_HZ: Final = 250.0
_APART_S: Final = 0.004
"""SD of the time between the landings of both legs in a jump; from memory, low."""


@dataclass(frozen=True)
class PlannedRun:
    """One run of a made-up session."""

    id: str
    athlete: str
    plan: RunPlan


@dataclass(frozen=True)
class SessionPlan:
    """A made-up session.

    Parameters
    ----------
    id : str
    date : datetime.date
    runs : tuple of PlannedRun
        Runs of one athlete share the body of the first.
    rate_hz : float
        Sampling rate in Hz.
    grade : str
        Name of a grade in :data:`imuproc.synth.sensors.imperfect.GRADES`.
    seed : int
        Everything random about the sensors follows from it.
    clock : {"shared", "jump", "separate"}
    sites : tuple of Site
    one_log : bool
        Whether all runs of an athlete are in one log (under the id of the first), after a jump and
        with walking back between them.
    compress : bool
        Whether logs and curves are gzipped.
    plain_runs : tuple of str
        Ids of runs whose files are not gzipped even so.
    """

    id: str
    date: datetime.date
    runs: tuple[PlannedRun, ...]
    rate_hz: float
    grade: str
    seed: int
    clock: Clock = "shared"
    sites: tuple[Site, ...] = SITES[:4]
    one_log: bool = False
    compress: bool = False
    plain_runs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Squad:
    """What is asked of a squad of made-up athletes.

    Parameters
    ----------
    athletes, runs : int
        How many athletes, and how many runs each.
    starts : tuple of str
        Kinds of start; taken in turn over each athlete's runs.
    distance_m : float
        Distance of the effort in m.
    faults : tuple of str
        Faults of technique that every athlete has.
    clock : {"shared", "jump", "separate"}
        With ``jump`` each sensor has its own clock, and there are jumps around each run.
    """

    athletes: int
    runs: int
    starts: tuple[Start, ...] = ("blocks",)
    distance_m: float = 30.0
    faults: tuple[Fault, ...] = ()
    clock: Clock = "shared"


def _check_choice(what: str, given: str, allowed: tuple[str, ...]) -> None:
    if given not in allowed:
        raise SessionError(f"{what} {given!r} is not one of {', '.join(allowed)}")


def _check_squad(squad: Squad, rate_hz: float, grade: str) -> None:
    """Refuse what cannot be made, naming the option."""
    for start in squad.starts:
        _check_choice("start", start, STARTS)
    for fault in squad.faults:
        _check_choice("fault", fault, FAULTS)
    _check_choice("grade", grade, tuple(GRADES))
    _check_choice("clock", squad.clock, get_args(Clock))
    limits = {
        "athletes": (squad.athletes, 1, 99),
        "runs": (squad.runs, 1, 99),
        "distance": (squad.distance_m, 10.0, 120.0),
        "rate": (rate_hz, 50.0, 2000.0),
    }
    for name, (value, low, high) in limits.items():
        if not low <= value <= high:
            raise SessionError(f"{name} is {value:g}; it must be from {low:g} to {high:g}")


def plan_session(squad: Squad, rate_hz: float, grade: str, seed: int) -> SessionPlan:
    """A session of athletes drawn at random.

    Parameters
    ----------
    squad : Squad
    rate_hz : float
        Sampling rate in Hz, 50 to 2000.
    grade : str
        Name of a grade of sensors.
    seed : int
        Same seed, same session.

    Returns
    -------
    SessionPlan

    Raises
    ------
    SessionError
        When something asked for is not allowed; the message says what is.
    """
    _check_squad(squad, rate_hz, grade)
    runs = []
    for number in range(squad.athletes):
        rng = np.random.default_rng([seed, 10, number])
        base = draw_plan(rng, distance_m=squad.distance_m, faults=squad.faults)
        athlete = f"R{number + 1:02d}"
        for run in range(squad.runs):
            start = squad.starts[run % len(squad.starts)]
            plan = replace(
                base,
                start=start,
                vmax_mps=base.vmax_mps * float(1.0 + 0.01 * rng.standard_normal()),
                seed=int(rng.integers(2**31)),
            )
            runs.append(PlannedRun(f"{athlete}-{run + 1:02d}", athlete, plan))
    return SessionPlan(
        id=f"simulated-{seed}",
        date=datetime.date(2031, 4, 12),
        runs=tuple(runs),
        rate_hz=rate_hz,
        grade=grade,
        seed=seed,
        clock=squad.clock,
    )


def _build_log_table(log: SensorLog) -> pd.DataFrame:
    """A log in the units that it is written in, no finer than the sensor resolves."""
    accel = np.round(log.accel_mps2 / ACCEL_TO_MPS2["g"], 3)
    gyro = np.round(log.gyro_radps / GYRO_TO_RADPS["deg/s"], 1)
    columns = {"time_s": np.round(log.time_s, 4)}
    columns |= {f"a{axis}": accel[:, k] for k, axis in enumerate("xyz")}
    columns |= {f"g{axis}": gyro[:, k] for k, axis in enumerate("xyz")}
    return pd.DataFrame(columns) + 0.0  # no negative zeros


def _write_table(table: pd.DataFrame, path: Path) -> None:
    """A CSV, gzipped without time and name where the path ends in .gz."""
    data = table.to_csv(index=False, lineterminator="\n").encode()
    if path.suffix == ".gz":
        data = gzip.compress(data, mtime=0)
    with replace_file(path) as temporary:
        temporary.write_bytes(data)


def _write_truth(truth: Truth, folder: Path, run: str, suffix: str) -> None:
    _write_table(truth.steps.round(5), folder / f"{run}_steps.csv")
    time_s = truth.curves["time_s"].to_numpy()
    every = max(1, round(float((len(time_s) - 1) / np.ptp(time_s)) / _CURVES_HZ))
    curves = truth.curves.iloc[::every].round({"time_s": 5}).round(3)
    _write_table(curves, folder / f"{run}_curves{suffix}")


def make_log_layout(accel_range_g: float, gyro_range_dps: float) -> dict[str, Any]:
    """Layout of the logs of a made-up session, as a session file states it."""
    return {
        "format": "delimited",
        "time": {"column": "time_s", "unit": "s"},
        "accel": _describe_signal("a", "g", accel_range_g),
        "gyro": _describe_signal("g", "deg/s", gyro_range_dps),
    }


def _describe_signal(prefix: str, unit: str, full_scale: float) -> dict[str, Any]:
    signal = {"columns": [f"{prefix}{axis}" for axis in "xyz"], "unit": unit}
    return signal | ({"range": full_scale} if np.isfinite(full_scale) else {})


def _describe_layouts(model: SensorModel) -> dict[str, Any]:
    """A layout for all sensors, and one for the feet where theirs have another range."""
    layouts = {LAYOUT: make_log_layout(model.accel_range_g, model.gyro_range_dps)}
    if model.foot_accel_range_g is not None:
        layouts[FEET_LAYOUT] = make_log_layout(model.foot_accel_range_g, model.gyro_range_dps)
    return layouts


def _build_session_content(plan: SessionPlan) -> dict[str, Any]:
    """What the session file holds."""
    bodies = {run.athlete: run.plan.body for run in reversed(plan.runs)}
    return {
        "schema": 1,
        "session": {
            "id": plan.id,
            "date": plan.date,
            "surface": "track",
            "note": f"simulated: {plan.grade} sensors at {plan.rate_hz:g} Hz, seed {plan.seed}",
        },
        "layout": _describe_layouts(GRADES[plan.grade]),
        "athlete": [
            {
                "id": athlete,
                "stature_m": round(bodies[athlete].stature_m, 3),
                "shank_length_m": round(bodies[athlete].shank_m, 3),
                "thigh_length_m": round(bodies[athlete].thigh_m, 3),
                "foot_length_m": round(bodies[athlete].foot_m, 3),
            }
            for athlete in dict.fromkeys(run.athlete for run in plan.runs)
        ],
        "run": [_build_run_entry(plan, run, parts) for run, parts in _group_by_log(plan)],
    }


def _build_run_entry(plan: SessionPlan, run: PlannedRun, parts: list[PlannedRun]) -> dict[str, Any]:
    faults = "; ".join(", ".join(part.plan.faults) or "none" for part in parts)
    return {
        "id": run.id,
        "athlete": run.athlete,
        "start": run.plan.start,
        "distance_m": run.plan.distance_m,
        "layout": LAYOUT,
        "clock": plan.clock,
        "logs": {site: _build_log_entry(plan, run, site) for site in plan.sites},
        "note": f"simulated; faults of technique: {faults}",
    }


def _choose_suffix(plan: SessionPlan, run: PlannedRun) -> str:
    return ".csv.gz" if plan.compress and run.id not in plan.plain_runs else ".csv"


def _format_log_name(plan: SessionPlan, run: PlannedRun, site: Site) -> str:
    return f"logs/{run.id}_{_SHORT[site]}{_choose_suffix(plan, run)}"


def _build_log_entry(plan: SessionPlan, run: PlannedRun, site: Site) -> str | dict[str, str]:
    name = _format_log_name(plan, run, site)
    if is_foot(site) and GRADES[plan.grade].foot_accel_range_g is not None:
        return {"file": name, "layout": FEET_LAYOUT}
    return name


def _ignore_progress() -> None:
    """Nobody waits for progress."""


def _group_by_log(plan: SessionPlan) -> list[tuple[PlannedRun, list[PlannedRun]]]:
    """What each set of logs holds: the run that names it, and all runs in it."""
    if not plan.one_log:
        return [(run, [run]) for run in plan.runs]
    athletes = dict.fromkeys(run.athlete for run in plan.runs)
    groups = [[run for run in plan.runs if run.athlete == athlete] for athlete in athletes]
    return [(group[0], group) for group in groups]


def _write_run(
    folder: Path, plan: SessionPlan, number: int, run: PlannedRun, parts: list[PlannedRun]
) -> None:
    """Make and write one set of logs and the truth of each run in it."""
    rng = np.random.default_rng([plan.seed, 20, number])
    rig = make_rig(plan.grade, plan.rate_hz, rng, plan.sites, plan.clock)
    truths: tuple[Truth, ...]
    if plan.one_log:
        logs, truths = record_long(
            make_long_motion([p.plan for p in parts], run.plan.seed), rig, rng
        )
        names = [f"{run.id}_{k + 1}" for k in range(len(parts))]
    else:
        motion, names = make_motion(run.plan), [run.id]
        if plan.clock == "jump":
            logs, truth = record_common(motion, add_jumps(motion, 2, 2, rng, _APART_S), rig, rng)
        else:
            logs, truth = record_motion(motion, rig, rng)
        truths = (truth,)
    for site, log in logs.items():
        _write_table(_build_log_table(log), folder / _format_log_name(plan, run, site))
    for name, one in zip(names, truths, strict=True):
        _write_truth(one, folder / "truth", name, _choose_suffix(plan, run))


def write_session(
    folder: Path, plan: SessionPlan, advance: Callable[[], None] | None = None
) -> Path:
    """Make a session and write it: session.toml, logs/, truth/.

    Parameters
    ----------
    folder : Path
        Made when needed; must be empty.
    plan : SessionPlan
    advance : callable, optional
        Called after each run.

    Returns
    -------
    Path
        The session file, which is written last.

    Raises
    ------
    SessionError
        When the folder has something in it, or cannot be written.
    """
    try:
        if folder.exists() and any(folder.iterdir()):
            raise SessionError(f"{folder} is not empty; name a new folder")
        for name in ("logs", "truth"):
            (folder / name).mkdir(parents=True, exist_ok=True)
        for number, (run, parts) in enumerate(_group_by_log(plan)):
            _write_run(folder, plan, number, run, parts)
            for _ in parts:
                (advance or _ignore_progress)()
        path = folder / "session.toml"
        with replace_file(path) as temporary:
            temporary.write_text(format_toml(_build_session_content(plan)), encoding="utf-8")
    except OSError as error:
        raise SessionError(f"{folder} cannot be written: {error.strerror}") from error
    return path
