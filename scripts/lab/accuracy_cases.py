"""Cases of known truth for the accuracy script: from a recipe and a number to a recording.

The same number and seed give the same athlete and the same run whatever the sensors, so that groups
differ in nothing but what their recipe says.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

import imuproc
from imuproc.agreement.judging import Judged, judge, judge_nothing_found, select_judged_steps
from imuproc.core.errors import ImuprocError
from imuproc.core.recording import Clock, Recording, Start
from imuproc.core.sites import SITES
from imuproc.synth.ground import draw_any_landing, draw_any_leaving, draw_any_lever
from imuproc.synth.plan import Body, Impact, RunPlan, draw_plan, draw_steady_plan
from imuproc.synth.runs import RunMotion, make_motion, make_rig, simulate_motion
from imuproc.synth.sensors.imperfect import GRADES, SensorModel
from imuproc.synth.truth import Truth
from scripts.lab.accuracy_clocks import add_jumps_around, give_own_clocks
from scripts.lab.accuracy_lean import LEAN_DEG, make_leaning_motion, zero_dorsiflexion
from scripts.lab.accuracy_means import compute_mean_errors
from scripts.lab.optical_running import RealCase, list_cases
from scripts.lab.overground import CLIPS
from scripts.lab.overground import make_recording as make_overground
from scripts.lab.real_motion import Shock, make_recording

FloatArray = NDArray[np.float64]

STARTS: Final[tuple[Start, ...]] = ("blocks", "crouch", "three-point")
DISTANCES_M: Final = (20.0, 30.0, 40.0, 60.0)
STEADY_M: Final = 80.0
TOP_SPEED_SHARE: Final = 0.95
"""Steps faster than this share of the run's fastest are at top speed."""
EVEN_MPS2: Final = 0.15
"""Easy running that gains or loses less speed than this is even."""

OVERGROUND_DRAWS: Final = 20
"""How often sensors are drawn anew for each overground clip: it holds few contacts."""


@dataclass(frozen=True)
class Recipe:
    """How the cases of a group are made.

    Parameters
    ----------
    motion : {"sprint", "steady", "optical"}
        Simulated sprints, simulated easy running, or real motion with a force plate.
    grade : str
        Sensors, see :data:`imuproc.synth.sensors.imperfect.GRADES`.
    rate_hz : float
        Sampling rate in Hz.
    sites : {"all", "shank", "foot", "left"}
        Which sensors are kept.
    scale_sd : float or None
        SD of the scale-factor error of both sensors, in place of the grade's.
    g_sensitivity_dps_g : float or None
        SD of the gyroscope's g-sensitivity, in place of the grade's.
    starts : tuple of str
        Of sprints, taken in turn.
    speeds_mps : tuple of (float, float)
        Range of the speeds of easy running.
    impact : str or None
        Strength of the touchdown shock; None as drawn (simulated) or none (real motion).
    soft_tissue_deg : float or None
        Largest turn of a simulated sensor against the bone, in place of the one drawn.
    curve_radius_m : float or None
    treadmill : bool
        Simulated: run on a belt. Real motion: declared as what it was, with its belt speed.
    lean : {"none", "unstated", "stated"}
        Whether simulated athletes lean in quiet standing, and whether the package is told.
    trials : {"all", "treadmill"}
        Which real motion.
    threshold_n : float
        Force above local zero that counts as contact (treadmill).
    clock : {"shared", "jump", "separate"}
        Whether sensors share a clock; with ``jump`` there are jumps around the run (simulated).
    accel_range_g : float or None
        Range of all accelerometers, in place of the grade's.
    body_line : bool
        Whether thighs, pelvis and (simulated) trunk have sensors too.
    ground : {"usual", "landing", "leaving"}
        Whether simulated feet land, or leave the ground, as feet may at all.
    """

    motion: Literal["sprint", "steady", "optical"]
    grade: str = "mid"
    rate_hz: float = 500.0
    sites: Literal["all", "shank", "foot", "left"] = "all"
    body_line: bool = False
    scale_sd: float | None = None
    g_sensitivity_dps_g: float | None = None
    starts: tuple[Start, ...] = STARTS
    speeds_mps: tuple[float, float] = (3.0, 6.0)
    impact: Impact | None = None
    soft_tissue_deg: float | None = None
    curve_radius_m: float | None = None
    treadmill: bool = False
    lean: Literal["none", "unstated", "stated"] = "none"
    trials: Literal["all", "treadmill"] = "all"
    threshold_n: float = 20.0
    clock: Clock = "shared"
    accel_range_g: float | None = None
    ground: Literal["usual", "landing", "leaving"] = "usual"


@dataclass(frozen=True, eq=False)
class Case:
    """A recording of known truth.

    Parameters
    ----------
    name : str
    recording : Recording
    truth : Truth
    labels : DataFrame
        One row per judged step of the truth: ``step``, and words by which tables are broken down.
    effort : ndarray of bool or None
        Which of them belong to the effort; None where that means nothing.
    """

    name: str
    recording: Recording
    truth: Truth
    labels: pd.DataFrame
    effort: NDArray[np.bool_] | None = None


def list_numbers(recipe: Recipe, count: int, limit: int) -> range:
    """Numbers of the cases of a recipe.

    Parameters
    ----------
    recipe : Recipe
    count : int
        How many simulated runs.
    limit : int
        At most about so many of the real cases, spread evenly; 0 for all.
    """
    if recipe.motion != "optical":
        return range(count)
    treadmill = len(list_cases())
    every = treadmill + (OVERGROUND_DRAWS * len(CLIPS) if recipe.trials == "all" else 0)
    return range(0, every, max(1, every // limit) if limit else 1)


def judge_case(recipe: Recipe, number: int, seed: int) -> Judged:
    """Make one case, process it and hold it against its truth.

    Parameters
    ----------
    recipe : Recipe
    number : int
    seed : int

    Returns
    -------
    Judged
    """
    case = make_case(recipe, number, seed)
    try:
        result = imuproc.process(case.recording)
    except ImuprocError as error:
        return judge_nothing_found(case.truth, f"{case.name}: {error}")
    judged = judge(result, case.truth, case.name, case.effort)
    errors, at_true = (
        table.merge(case.labels, on="step", how="left") if len(table) else table
        for table in (judged.errors, judged.at_true_events)
    )
    means = compute_mean_errors(result, case.truth, case.name, case.effort)
    of_case, words = case.labels.iloc[0], case.labels.columns.drop("step")
    labels = {name: of_case[name] if name in ("set", "trial") else "" for name in words}
    together = pd.concat([errors, means.assign(**labels)], ignore_index=True)
    return replace(judged, errors=together, at_true_events=at_true)


def make_case(recipe: Recipe, number: int, seed: int) -> Case:
    """Recording and truth of one case.

    Parameters
    ----------
    recipe : Recipe
    number : int
    seed : int

    Returns
    -------
    Case
    """
    whole = _make_whole_case(replace(recipe, sites="all"), number, seed)
    return replace(whole, recording=keep_sites(whole.recording, recipe.sites))


# Groups that differ in sites alone look at the same recording.
@lru_cache(maxsize=2)
def _make_whole_case(recipe: Recipe, number: int, seed: int) -> Case:
    make = _make_optical_case if recipe.motion == "optical" else _make_simulated_case
    case = make(recipe, number, seed)
    if recipe.clock == "separate":
        rng = np.random.default_rng([seed, number, 6])
        case = replace(case, recording=give_own_clocks(case.recording, rng))
    return case


def keep_sites(recording: Recording, kind: str) -> Recording:
    """The recording with sensors of one segment or leg: ``shank``, ``foot``, ``left``, or all."""
    kept = {
        site: log
        for site, log in recording.logs.items()
        if kind == "all" or kind in site.split("_")
    }
    return replace(recording, logs=kept)


def choose_sensor_model(recipe: Recipe) -> SensorModel:
    """The grade's sensors with the recipe's own faults."""
    model = GRADES[recipe.grade]
    if recipe.scale_sd is not None:
        model = replace(model, gyro_scale_sd=recipe.scale_sd, accel_scale_sd=recipe.scale_sd)
    if recipe.g_sensitivity_dps_g is not None:
        model = replace(model, gyro_g_sensitivity_sd_dps_g=recipe.g_sensitivity_dps_g)
    if recipe.accel_range_g is not None:
        model = replace(model, accel_range_g=recipe.accel_range_g, foot_accel_range_g=None)
    return model


# --- Real motion ---------------------------------------------------------------------------------


def _make_optical_case(recipe: Recipe, number: int, seed: int) -> Case:
    """Real running with force-plate contacts: the treadmill trials, then the overground clips."""
    if number >= len(list_cases()):
        return _make_overground_case(recipe, number - len(list_cases()), seed + number)
    case = list_cases()[number]
    shock: Shock = recipe.impact or "none"
    # Other sensors for each trial, or all of them would judge one set of four.
    own_seed = seed + number
    recording, truth = make_recording(
        case,
        choose_sensor_model(recipe),
        recipe.rate_hz,
        own_seed,
        shock,
        recipe.threshold_n,
        with_hips=recipe.body_line,
    )
    if recipe.treadmill:
        run = replace(recording.run, surface="treadmill", belt_speed_mps=case.speed_mps)
        recording = replace(recording, run=run)
    return Case(
        f"{case.runner}-{case.speed_mps}", recording, truth, _label_optical_steps(case, truth)
    )


def _make_overground_case(recipe: Recipe, number: int, own_seed: int) -> Case:
    clip = CLIPS[number // OVERGROUND_DRAWS]
    model = choose_sensor_model(recipe)
    recording, truth = make_overground(clip, model, recipe.rate_hz, own_seed)
    labels = pd.DataFrame({"step": select_judged_steps(truth)["step"], "set": clip, "trial": clip})
    return Case(f"{clip}-{own_seed}", recording, truth, labels)


def _label_optical_steps(case: RealCase, truth: Truth) -> pd.DataFrame:
    steps = select_judged_steps(truth)
    strike = {"left": case.strike_left, "right": case.strike_right}
    return pd.DataFrame(
        {
            "step": steps["step"],
            "set": f"treadmill-{case.speed_mps:g}",
            "trial": f"{case.runner}-{case.speed_mps}",
            "strike": steps["side"].map(strike).str.lower(),
        }
    )


# --- Simulated runs ------------------------------------------------------------------------------


def draw_case_plan(recipe: Recipe, number: int, rng: np.random.Generator) -> tuple[str, RunPlan]:
    """Name and plan of a simulated run; athlete, distance and technique are drawn.

    Parameters
    ----------
    recipe : Recipe
    number : int
    rng : numpy Generator
    """
    if recipe.motion == "steady":
        low, high = recipe.speeds_mps
        speed_mps = float(rng.uniform(low, high))
        name = f"steady-{speed_mps:.1f}mps"
        plan = draw_steady_plan(rng, speed_mps, STEADY_M, recipe.treadmill)
    else:
        start = recipe.starts[number % len(recipe.starts)]
        distance_m = float(rng.choice(DISTANCES_M))
        name = f"{start}-{distance_m:.0f}m"
        plan = draw_plan(rng, start, distance_m)
    plan = replace(plan, curve_radius_m=recipe.curve_radius_m)
    if recipe.ground != "usual":
        plan = _draw_any_ground(plan, recipe.ground, rng)
    if recipe.impact is not None:
        plan = replace(plan, impact=recipe.impact)
    if recipe.soft_tissue_deg is not None:
        plan = replace(plan, soft_tissue_deg=recipe.soft_tissue_deg)
    return name, plan


def _draw_any_ground(
    plan: RunPlan, which: Literal["landing", "leaving"], rng: np.random.Generator
) -> RunPlan:
    """The same athlete, whose feet land or leave the ground as feet may at all."""
    if which == "landing":
        impact: Impact = ("none", "weak", "strong")[int(rng.integers(3))]
        ground = draw_any_landing(rng, plan.technique.ground)
        return replace(plan, impact=impact, technique=replace(plan.technique, ground=ground))
    ground = draw_any_leaving(rng, plan.technique.ground)
    body = Body.from_stature(plan.body.stature_m, draw_any_lever(rng))
    return replace(plan, body=body, technique=replace(plan.technique, ground=ground))


@lru_cache(maxsize=2)
def _make_motion(plan: RunPlan) -> RunMotion:
    return make_motion(plan)


def _make_simulated_case(recipe: Recipe, number: int, seed: int) -> Case:
    rng = np.random.default_rng(seed + number)
    name, plan = draw_case_plan(recipe, number, rng)
    motion = _make_motion(plan)
    if recipe.lean != "none":
        motion = make_leaning_motion(motion, recipe.lean == "stated")
    sites = SITES if recipe.body_line else SITES[:4]
    rig = make_rig(choose_sensor_model(recipe), recipe.rate_hz, rng, sites)
    recording, truth = simulate_motion(motion, rig, rng)
    if recipe.clock == "jump":
        recording, truth = add_jumps_around(recording, motion, rig, rng)
    if recipe.lean == "stated":
        athlete = replace(recording.athlete, standing_lean_deg=LEAN_DEG)
        recording, truth = replace(recording, athlete=athlete), zero_dorsiflexion(truth)
    labels, effort = _label_effort_steps(motion, truth)
    return Case(f"{name}-{seed + number}", recording, truth, labels, effort)


def _label_effort_steps(motion: RunMotion, truth: Truth) -> tuple[pd.DataFrame, NDArray[np.bool_]]:
    """Words for each judged step, and which belong to the effort.

    ``phase`` and ``number`` are of the sprint, ``gain`` tells whether speed was even.
    """
    steps = select_judged_steps(truth)
    effort = (steps["step"] <= _count_effort_steps(motion)).to_numpy()
    number = steps["step"].to_numpy()
    band = np.select([number <= 4, number <= 10], ["steps 1-4", "steps 5-10"], "steps 11+")
    fastest = steps["speed_mps"].to_numpy() > TOP_SPEED_SHARE * steps["speed_mps"].max()
    labels = pd.DataFrame(
        {
            "step": steps["step"],
            "phase": np.where(effort, "effort", "slowing"),
            "number": np.where(effort, band, ""),
            "top": np.where(effort & fastest, "top speed", ""),
            "gain": _label_speed_gain(motion, len(truth.steps))[steps.index],
        }
    )
    return labels, effort


def _label_speed_gain(motion: RunMotion, count: int) -> NDArray[np.str_]:
    """Whether the hips gain, hold or lose speed at each contact of the truth."""
    course = motion.course
    at = [s.touchdown_s + 0.1 for s in motion.schedule.stances if s.kind != "ready"][:count]
    gain = np.interp(at, course.time_s, np.gradient(course.speed_mps, course.time_s))
    return np.select([gain > EVEN_MPS2, gain < -EVEN_MPS2], ["gaining", "losing"], "even")


def _count_effort_steps(motion: RunMotion) -> int:
    """How many contacts after the start begin before the hips have gone the distance."""
    course = motion.course
    end_s = course.time_s[int(np.searchsorted(course.forward_m, motion.plan.distance_m)) - 1]
    return sum(s.kind != "ready" and s.touchdown_s <= end_s for s in motion.schedule.stances)
