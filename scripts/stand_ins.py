"""Every stand-in of touchdown and toe-off by itself, on every data set with force plates.

    python scripts/stand_ins.py                  mid-grade sensors at 500 Hz
    python scripts/stand_ins.py --rate 200

First table: each mark minus its event, in ms, mean and SD within a set, lags as the settings state
them taken off; ``all`` is their weighted mean. The jerk of the forefoot (largest upward jerk of the
toes' line; Handsaker et al. 2016, J Biomech) is shown beside them and not used. Second table:
contact time with one whole set left out of the fit: the error that is left when only the mean error
of the other sets is taken off, and how much of it lies within twice what is stated.

Sets are never pooled. Clocks of markers and force: the treadmill's markers are 6.7 ms late (taken
off, known to 2 ms); those of the overground clips are not known better than 8 ms. The recordings
are those of ``scripts/accuracy.py --real``.
"""

import argparse
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import imuproc
from imuproc.agreement.judging import match_steps, select_judged_steps
from imuproc.core.result import Result
from imuproc.core.sites import foot_of
from imuproc.dsp.filters import differentiate
from imuproc.events.foot_points import FootGeometry, track_foot_points
from imuproc.events.leaving import LeavingSettings
from imuproc.events.toe_off import ToeOffSettings
from imuproc.events.touchdown import TouchdownSettings
from scripts.lab.accuracy_cases import Recipe, list_numbers, make_case

FloatArray = NDArray[np.float64]

SEED = 20_260_000
_DOWN, _OFF = TouchdownSettings(), ToeOffSettings()
MARKS = {
    "touchdown": {
        "strike": ("strike_s", 0.0),
        "shock": ("shock_s", _DOWN.shock_lag_s),
        "axial": ("axial_rise_s", _DOWN.axial_lag_s),
        "jerk": ("jerk_half_s", _DOWN.jerk_lag_s),
    },
    "toe_off": {
        "toe": ("toe_s", 0.0),
        "lift": ("lift_s", 0.0),
        "shank": ("shank_off_s", _OFF.shank_lag_s),
        "push": ("push_off_s", _OFF.push_lag_s),
    },
}
"""Marks in the evidence, and the lag that is still to be taken off."""


def measure_contacts(recipe: Recipe, seed: int) -> Iterator[pd.DataFrame]:
    """One row per contact with force, case by case: set, trial, errors of all marks in s."""
    for number in list_numbers(recipe, 0, 0):
        case = make_case(recipe, number, seed)
        result = imuproc.process(case.recording)
        real = select_judged_steps(case.truth)
        pairs = match_steps(result.steps, real)
        rows, columns = ([pair[k] for pair in pairs] for k in (0, 1))
        true = real.iloc[columns]
        table = case.labels.set_index("step").loc[true["step"], ["set", "trial"]].reset_index()
        for event, marks in MARKS.items():
            true_s = true[f"{event}_s"].to_numpy()
            for name, (mark, lag_s) in marks.items():
                at_s = result.contacts.evidence[mark][rows]
                table[f"{event} {name}"] = at_s - lag_s - true_s
            table[f"{event} all"] = result.steps[f"{event}_s"].to_numpy()[rows] - true_s
        jerk_s = _find_forefoot_jerk_s(result)[rows]
        table["toe_off forefoot jerk"] = jerk_s - true["toe_off_s"].to_numpy()
        table["contact"] = (
            result.steps["contact_time_s"].to_numpy()[rows] - true["contact_time_s"].to_numpy()
        )
        table["contact_u"] = result.steps["contact_time_s_u"].to_numpy()[rows]
        yield table


def _find_forefoot_jerk_s(result: Result) -> FloatArray:
    """Largest upward jerk of the toes' line about each toe-off, in s."""
    motion, contacts = result.motion, result.contacts
    found = np.full(len(contacts), np.nan)
    toe_m = (LeavingSettings().toe_ahead_m + 0.03, 0.0, LeavingSettings().toe_up_m)
    for side in ("left", "right"):
        foot = motion.segments.get(foot_of(side))  # type: ignore[arg-type]
        if foot is None:
            continue
        points = track_foot_points(motion.time_s, foot, side, toe_m, FootGeometry())  # type: ignore[arg-type]
        jerk = differentiate(differentiate(points.toe_mps, points.rate_hz), points.rate_hz)
        for row in np.flatnonzero(contacts.side == side):
            off_s, down_s = contacts.toe_off_s[row], contacts.touchdown_s[row]
            ends = [down_s + 0.5 * (off_s - down_s), off_s + 0.05]
            low, high = np.searchsorted(motion.time_s, ends)
            if high > low:
                found[row] = motion.time_s[low + int(np.argmax(jerk[low:high]))]
    return found


def build_marks_table(table: pd.DataFrame) -> pd.DataFrame:
    """Mean and SD of every mark by set, in ms."""
    names = [name for name in table if name.startswith(("touchdown", "toe_off"))]
    cells = {}
    for name, own in table.groupby("set"):
        of_set = 1e3 * own[names]
        mean, sd = of_set.mean(), of_set.std(ddof=0)
        cells[name] = [f"{m:+.1f} ± {s:.1f}" for m, s in zip(mean, sd, strict=True)]
    return pd.DataFrame(cells, index=names)


def build_left_out_table(table: pd.DataFrame) -> pd.DataFrame:
    """Contact time of each set by the mean error of the others."""
    means = table.groupby("set")["contact"].mean()
    rows = []
    for name, own in table.groupby("set"):
        error = own["contact"] - means.drop(name).mean()
        rows.append(
            {
                "set": name,
                "contacts": len(set(zip(own["trial"], own["step"], strict=True))),
                "bias_ms": 1e3 * error.mean(),
                "rmse_ms": 1e3 * np.sqrt((error**2).mean()),
                "median_u_ms": 1e3 * own["contact_u"].median(),
                "within_2u_percent": 100.0 * (error.abs() <= 2.0 * own["contact_u"]).mean(),
            }
        )
    return pd.DataFrame(rows)


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rate", type=float, default=500.0, help="sampling rate in Hz")
    parser.add_argument("--seed", type=int, default=SEED)
    given = parser.parse_args(arguments)
    recipe = Recipe("optical", rate_hz=given.rate)
    table = pd.concat(measure_contacts(recipe, given.seed), ignore_index=True)
    print("Marks minus their events in ms, mean ± SD within the set")
    print(build_marks_table(table).to_string())
    print("\nContact time, the set left out of the fit")
    print(build_left_out_table(table).to_string(index=False, float_format="{:.1f}".format))
    return 0


if __name__ == "__main__":
    sys.exit(main())
