"""One processed run held against its truth: which steps were found, and every figure's error."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import nan
from typing import Final, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.core.columns import FIGURES, repeat_name, uncertainty_name
from imuproc.core.result import Result
from imuproc.core.sites import SIDES
from imuproc.estimators.distance import find_end_of_effort
from imuproc.synth.truth import Truth

FloatArray = NDArray[np.float64]

SAME_INSTANT: Final = "_same_instant"
"""Ending of the names of errors at the true events."""

MATCH_S: Final = 0.08
"""Farthest that a touchdown may lie from the true one of its side, in s."""


class JudgedDistance(NamedTuple):
    """The distance of a run beside the true way between the same contacts, in m.

    NaN where the package tells none, or a contact of it is not in the truth.
    """

    told_m: float = nan
    told_u_m: float = nan
    true_m: float = nan


@dataclass(frozen=True, eq=False)
class Judged:
    """One run held against its truth.

    Parameters
    ----------
    errors : DataFrame
        One row per matched step and figure: ``figure``, ``error``, ``u``, ``u_repeat``, ``true``,
        ``step`` (the truth's number), ``side``, ``case``, and the labels that the case gives its
        steps.
    at_true_events : DataFrame
        The same of angles read off the curves at the true events, so that they tell of the angle
        alone; named with :data:`SAME_INSTANT` appended, without uncertainty.
    real_steps, found, invented : int
    pitch_swing_rms_deg : float
        RMS error of the foot pitch curve over all swings.
    way_m : tuple of (float, float)
        Sum of the measured and of the true step lengths over the steps of the effort; NaN where a
        step has none, or the case does not say which steps those are.
    distance_m : JudgedDistance
    failed : str
        Why the run gave no result; empty where it did.
    """

    errors: pd.DataFrame
    real_steps: int
    found: int
    invented: int
    pitch_swing_rms_deg: float
    way_m: tuple[float, float] = (float("nan"), float("nan"))
    distance_m: JudgedDistance = field(default_factory=JudgedDistance)
    failed: str = ""
    at_true_events: pd.DataFrame = field(default_factory=pd.DataFrame)


def select_judged_steps(truth: Truth) -> pd.DataFrame:
    """The true steps that a result is held against."""
    inside = truth.steps["touchdown_s"].between(truth.valid_from_s, truth.valid_to_s)
    return truth.steps[inside]


def match_steps(steps: pd.DataFrame, truth: pd.DataFrame) -> list[tuple[int, int]]:
    """Pairs of rows (steps, truth): same side, nearest touchdown within 80 ms, one to one."""
    pairs = []
    for side in SIDES:
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


def judge(
    result: Result, truth: Truth, case: str, effort: NDArray[np.bool_] | None = None
) -> Judged:
    """Hold a result against its truth.

    Parameters
    ----------
    result : Result
    truth : Truth
    case : str
        Name for the rows.
    effort : ndarray of bool, shape (m,), optional
        Which of the judged true steps belong to the effort, for the way.

    Returns
    -------
    Judged
    """
    real = select_judged_steps(truth)
    inside = result.steps["touchdown_s"].between(
        truth.valid_from_s - MATCH_S, truth.valid_to_s + MATCH_S
    )
    steps = result.steps[inside]
    pairs = match_steps(steps, real)
    rows = [row for row, _ in pairs]
    columns = [column for _, column in pairs]
    length = np.full(len(real), np.nan)
    length[columns] = steps["step_length_m"].to_numpy()[rows]
    chosen = np.zeros(len(real), dtype=bool) if effort is None else effort
    near_edge = 0 if np.isinf(truth.valid_from_s) else _count_edge_steps(steps, rows, truth)
    return Judged(
        errors=_compute_errors(steps.iloc[rows], real.iloc[columns], case),
        at_true_events=_compare_at_true_events(result, real.iloc[columns], case),
        real_steps=len(real),
        found=len(pairs),
        invented=len(steps) - len(pairs) - near_edge,
        pitch_swing_rms_deg=_compute_pitch_swing_rms_deg(result, truth, real),
        way_m=(_sum_way_m(length, chosen), _sum_way_m(real["step_length_m"].to_numpy(), chosen)),
        distance_m=_compare_distance_m(result, real, {int(steps.index[r]): c for r, c in pairs}),
    )


def _compute_errors(steps: pd.DataFrame, real: pd.DataFrame, case: str) -> pd.DataFrame:
    """Errors of every figure that the truth knows, of matched rows."""
    tables = [
        pd.DataFrame(
            {
                "figure": figure,
                "error": steps[figure].to_numpy() - real[figure].to_numpy(),
                "u": steps[uncertainty_name(figure)].to_numpy(),
                "u_repeat": steps[repeat_name(figure)].to_numpy(),
                "true": real[figure].to_numpy(),
                "step": real["step"].to_numpy(),
                "side": real["side"].to_numpy(),
                "case": case,
            }
        )
        for figure in FIGURES
        if figure in real
    ]
    return pd.concat(tables, ignore_index=True)


def _compare_at_true_events(result: Result, real: pd.DataFrame, case: str) -> pd.DataFrame:
    """Errors of the angle curves at the true touchdowns and toe-offs."""
    tables = []
    for angle in ("shin_angle", "foot_pitch"):
        for event in ("touchdown", "toe_off"):
            figure = f"{angle}_{event}_deg"
            if figure not in real:
                continue
            read = np.full(len(real), np.nan)
            for side in SIDES:
                rows = (real["side"] == side).to_numpy()
                name = f"{angle}_{side}_deg"
                if name in result.curves:
                    at_s = real[f"{event}_s"].to_numpy()[rows]
                    read[rows] = np.interp(at_s, result.curves["time_s"], result.curves[name])
            true = real[figure].to_numpy()
            table = {
                "figure": figure + SAME_INSTANT,
                "error": read - true,
                "u": nan,
                "u_repeat": nan,
                "true": true,
                "step": real["step"].to_numpy(),
                "side": real["side"].to_numpy(),
                "case": case,
            }
            tables.append(pd.DataFrame(table))
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()


def judge_nothing_found(truth: Truth, why: str) -> Judged:
    """What a run counts for that gave no result: every step missed."""
    columns = ("figure", "error", "u", "u_repeat", "true", "step", "side", "case")
    empty = pd.DataFrame({name: [] for name in columns})
    return Judged(empty, len(select_judged_steps(truth)), 0, 0, float("nan"), failed=why)


def _sum_way_m(length_m: FloatArray, chosen: NDArray[np.bool_]) -> float:
    return float(length_m[chosen].sum()) if chosen.any() else float("nan")


def _compare_distance_m(
    result: Result, real: pd.DataFrame, true_row: Mapping[int, int]
) -> JudgedDistance:
    """The package's distance against the true way; ``true_row`` by measured row."""
    told = result.distances.get(result.run)
    if told is None:
        return JudgedDistance()
    last = find_end_of_effort(result.steps["phase"].to_numpy())
    first = true_row.get(0, -1)
    rows = [true_row.get(row, -1) for row in range(last + 1)]
    if first < 0 or rows != list(range(first, first + last + 1)):
        return JudgedDistance(told.value_m, told.u_m)
    way_m = float(real["step_length_m"].to_numpy()[rows[:-1]].sum())
    return JudgedDistance(told.value_m, told.u_m, way_m)


def _count_edge_steps(steps: pd.DataFrame, rows: list[int], truth: Truth) -> int:
    """Unmatched steps within the matching window of the ends of the judged interval."""
    other = np.setdiff1d(np.arange(len(steps)), rows)
    touchdown = steps["touchdown_s"].to_numpy()[other]
    return int(
        np.sum(
            (touchdown < truth.valid_from_s + MATCH_S) | (touchdown > truth.valid_to_s - MATCH_S)
        )
    )


def _compute_pitch_swing_rms_deg(result: Result, truth: Truth, real: pd.DataFrame) -> float:
    """RMS error of foot pitch from each toe-off to the same foot's next touchdown."""
    errors = []
    time_s = truth.curves["time_s"].to_numpy()
    for side in SIDES:
        name = f"foot_pitch_{side}_deg"
        if name not in result.curves:
            return float("nan")
        own = real[real["side"] == side]
        for start, end in zip(own["toe_off_s"][:-1], own["touchdown_s"][1:], strict=True):
            part = slice(*np.searchsorted(time_s, [start, end]))
            measured = np.interp(time_s[part], result.curves["time_s"], result.curves[name])
            errors.append(measured - truth.curves[name].to_numpy()[part])
    return float(np.sqrt(np.mean(np.concatenate(errors) ** 2))) if errors else float("nan")
