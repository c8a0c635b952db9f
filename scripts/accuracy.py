"""How right the step table is, judged on recordings with known truth.

    python scripts/accuracy.py                 simulated crouch and block starts, 20 to 60 m
    python scripts/accuracy.py --real          real treadmill running with a force plate
    python scripts/accuracy.py --csv out.csv   the table as CSV too

Simulated runs use mid-grade sensors at 500 Hz unless told otherwise. The simulator lets feet land
and leave as force plates show it at 2.5 to 4.5 m/s and carries that to sprint speed, so its events
test the method (sensors, drift, sampling), not how real sprinters leave the ground: for that there
are the real cases. The real cases need the open data of Fukuchi,
Fukuchi & Duarte 2017 (PeerJ 5:e3298) in ../shared/data: real poses and force-plate contacts, made
into inertial signals (no touchdown shock added), so sensors are made up there but motion is not.
"""

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import imuproc
from imuproc.core.columns import FIGURES
from imuproc.core.recording import Recording
from imuproc.core.result import Result
from imuproc.synth.truth import Truth

MATCH_S = 0.08
STARTS = ("blocks", "crouch", "three-point")


@dataclass(frozen=True, eq=False)
class Judged:
    """One run held against its truth.

    Parameters
    ----------
    errors : DataFrame
        One row per matched step and figure: ``figure``, ``error``, ``u``, ``step``, ``case``.
    real_steps, found, invented : int
    pitch_swing_rms_deg : float
        RMS error of the foot pitch curve over all swings.
    """

    errors: pd.DataFrame
    real_steps: int
    found: int
    invented: int
    pitch_swing_rms_deg: float


def match_steps(steps: pd.DataFrame, truth: pd.DataFrame) -> list[tuple[int, int]]:
    """Pairs of rows (steps, truth): same side, nearest touchdown within 80 ms, one to one."""
    pairs = []
    for side in ("left", "right"):
        rows = np.flatnonzero(steps["side"] == side)
        real = np.flatnonzero(truth["side"] == side)
        gap = np.abs(
            steps["touchdown_s"].to_numpy()[rows, None] - truth["touchdown_s"].to_numpy()[real]
        )
        while gap.size and gap.min() < MATCH_S:
            row, column = np.unravel_index(int(np.argmin(gap)), gap.shape)
            pairs.append((int(rows[row]), int(real[column])))
            gap[row, :] = gap[:, column] = np.inf
    return sorted(pairs)


def judge(result: Result, truth: Truth, case: str) -> Judged:
    """Hold a result against its truth.

    Parameters
    ----------
    result : Result
    truth : Truth
    case : str
        Name for the rows.

    Returns
    -------
    Judged
    """
    real = truth.steps[truth.steps["touchdown_s"].between(truth.valid_from_s, truth.valid_to_s)]
    inside = result.steps["touchdown_s"].between(
        truth.valid_from_s - MATCH_S, truth.valid_to_s + MATCH_S
    )
    steps = result.steps[inside]
    pairs = match_steps(steps, real)
    rows = [row for row, _ in pairs]
    columns = [column for _, column in pairs]
    tables = []
    for figure in FIGURES:
        if figure not in real:
            continue
        error = steps[figure].to_numpy()[rows] - real[figure].to_numpy()[columns]
        tables.append(
            pd.DataFrame(
                {
                    "figure": figure,
                    "error": error,
                    "u": steps[f"{figure}_u"].to_numpy()[rows],
                    "true": real[figure].to_numpy()[columns],
                    "step": real["step"].to_numpy()[columns],
                    "side": real["side"].to_numpy()[columns],
                    "case": case,
                }
            )
        )
    errors = pd.concat(tables, ignore_index=True)
    pitch = _pitch_swing_rms_deg(result, truth, real)
    near_edge = 0 if np.isinf(truth.valid_from_s) else _edge_steps(steps, rows, truth)
    return Judged(errors, len(real), len(pairs), len(steps) - len(pairs) - near_edge, pitch)


def _edge_steps(steps: pd.DataFrame, rows: list[int], truth: Truth) -> int:
    """Unmatched steps within the matching window of the ends of the judged stretch."""
    other = np.setdiff1d(np.arange(len(steps)), rows)
    touchdown = steps["touchdown_s"].to_numpy()[other]
    return int(
        np.sum(
            (touchdown < truth.valid_from_s + MATCH_S) | (touchdown > truth.valid_to_s - MATCH_S)
        )
    )


def _pitch_swing_rms_deg(result: Result, truth: Truth, real: pd.DataFrame) -> float:
    """RMS error of foot pitch from each toe-off to the same foot's next touchdown."""
    errors = []
    time_s = truth.curves["time_s"].to_numpy()
    for side in ("left", "right"):
        name = f"foot_pitch_{side}_deg"
        if name not in result.curves:
            return float("nan")
        own = real[real["side"] == side]
        for start, end in zip(own["toe_off_s"][:-1], own["touchdown_s"][1:], strict=True):
            part = slice(*np.searchsorted(time_s, [start, end]))
            measured = np.interp(time_s[part], result.curves["time_s"], result.curves[name])
            errors.append(measured - truth.curves[name].to_numpy()[part])
    return float(np.sqrt(np.mean(np.concatenate(errors) ** 2))) if errors else float("nan")


def simulated(
    count: int, seed: int, grade: str, rate_hz: float
) -> Iterator[tuple[str, Recording, Truth]]:
    """Made-up runs: start, distance, athlete and technique drawn at random."""
    from imuproc.synth.plan import random_plan
    from imuproc.synth.runs import simulate_run

    for number in range(count):
        rng = np.random.default_rng(seed + number)
        start = STARTS[number % len(STARTS)]
        distance_m = float(rng.choice([20.0, 30.0, 40.0, 60.0]))
        plan = random_plan(rng, start=start, distance_m=distance_m)
        recording, truth = simulate_run(plan, grade, rate_hz, rng)
        yield f"{start}-{distance_m:.0f}m-{seed + number}", recording, truth


def real(
    grade: str, rate_hz: float, seed: int, shock: str, limit: int
) -> Iterator[tuple[str, Recording, Truth]]:
    """Real treadmill running with force-plate contacts (20 N above local zero)."""
    from imuproc.synth.sensors import GRADES
    from scripts.optical_running import cases
    from scripts.real_motion import make_recording

    chosen = cases()
    for case in chosen[:: max(1, len(chosen) // limit) if limit else 1]:
        recording, truth = make_recording(case, GRADES[grade], rate_hz, seed, shock=shock)
        yield f"{case.runner}-{case.speed_mps}", recording, truth


def summary(judged: list[Judged]) -> pd.DataFrame:
    """Bias, SD, RMSE and coverage of every figure over all runs."""
    errors = pd.concat([one.errors for one in judged], ignore_index=True)
    rows = []
    for figure, group in errors.groupby("figure", sort=False):
        known = group[np.isfinite(group["error"])]
        missing = int((np.isfinite(group["true"]) & ~np.isfinite(group["error"])).sum())
        error = known["error"].to_numpy()
        if len(error) == 0:
            continue
        rows.append(
            {
                "figure": figure,
                "n": len(error),
                "missing": missing,
                "bias": error.mean(),
                "sd": error.std(),
                "rmse": np.sqrt(np.mean(error**2)),
                "worst": np.abs(error).max(),
                "median_u": known["u"].median(),
                "within_2u_percent": 100.0 * np.mean(np.abs(error) <= 2.0 * known["u"]),
            }
        )
    return pd.DataFrame(rows)


def only_sites(recording: Recording, kind: str) -> Recording:
    """The recording with the sensors of one kind of segment: ``shank`` or ``foot``."""
    kept = {
        site: log for site, log in recording.logs.items() if kind in ("all", site[-len(kind) :])
    }
    return replace(recording, logs=kept)


def run(cases: Iterator[tuple[str, Recording, Truth]], sites: str, verbose: bool) -> list[Judged]:
    """Process every case and judge it."""
    judged = []
    for name, whole, truth in cases:
        recording = only_sites(whole, sites)
        one = judge(imuproc.process(recording), truth, name)
        judged.append(one)
        if verbose:
            shin = one.errors[one.errors["figure"] == "shin_angle_touchdown_deg"]["error"]
            ct = one.errors[one.errors["figure"] == "contact_time_s"]["error"] * 1e3
            print(
                f"{name:28s} steps {one.found}/{one.real_steps} invented {one.invented} "
                f"shin {shin.mean():+.2f}±{shin.std():.2f} deg  contact {ct.mean():+.1f}±"
                f"{ct.std():.1f} ms  pitch {one.pitch_swing_rms_deg:.2f} deg",
                flush=True,
            )
    return judged


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--real", action="store_true", help="real motion with a force plate")
    parser.add_argument("--count", type=int, default=24, help="number of simulated runs")
    parser.add_argument("--limit", type=int, default=0, help="at most about so many real cases")
    parser.add_argument("--seed", type=int, default=20_260_000)
    parser.add_argument("--grade", default="mid")
    parser.add_argument("--rate", type=float, default=500.0, help="sampling rate in Hz")
    parser.add_argument("--shock", default="none", help="touchdown shock added to real motion")
    parser.add_argument("--sites", default="all", choices=("all", "shank", "foot"))
    parser.add_argument("--csv", type=Path, help="write the table here too")
    parser.add_argument("--verbose", action="store_true", help="a line per run")
    given = parser.parse_args()
    cases = (
        real(given.grade, given.rate, given.seed, given.shock, given.limit)
        if given.real
        else simulated(given.count, given.seed, given.grade, given.rate)
    )
    judged = run(cases, given.sites, given.verbose)
    table = summary(judged)
    steps, found = sum(j.real_steps for j in judged), sum(j.found for j in judged)
    print(
        f"{len(judged)} runs, {steps} steps: {100 * found / steps:.2f} % found, "
        f"{sum(j.invented for j in judged)} invented; foot pitch curve in swing RMSE "
        f"{np.sqrt(np.nanmean([j.pitch_swing_rms_deg**2 for j in judged])):.2f} deg"
    )
    with pd.option_context("display.width", 160, "display.float_format", "{:.4f}".format):
        print(table.to_string(index=False))
    if given.csv:
        table.to_csv(given.csv, index=False)
    return 0


if __name__ == "__main__":
    sys.exit(main())
