"""Published methods and this package on the same runs, in one table.

    python scripts/compare_methods.py                 simulated starts, 20 to 60 m
    python scripts/compare_methods.py --real          real treadmill running with a force plate
    python scripts/compare_methods.py --csv out.csv   the tables as CSV too

Only what is compared differs. Events: all methods are given the same cycles of each leg, from one
forward swing that the package found to the next, so that marks are compared and not segmentation;
rules that must know where the foot is on the ground are given the package's rough contacts. A mark
counts as found within 120 ms of the truth. Every method is shown as it is, and ("free") with its
own mean error taken off: that of all other athletes, the athlete at hand left out. Orientation: all
methods are given the same signals in the same segment axes, the same sagittal plane and the same
zero, from standing; beside them stand the package's angles as it reports them, with its own plane
and foot axis.

Data and their limits as in ``scripts/accuracy.py``. Simulated legs leave marks at toe-off that are
sharper than real ones, and real motion (``--real``) is smoothed by the optical system (shank 25 Hz)
and has no impact unless asked for with ``--shock weak`` or ``strong``: a rule is to be believed
where it does well in all of them. Windows and limits of the rules that the sources leave open were
chosen on such runs to the rules' advantage; nothing of the package was chosen here.
"""

import argparse
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import imuproc
from imuproc.core.motion import Motion
from imuproc.core.recording import Conditioned, Interval, Recording
from imuproc.core.result import Result
from imuproc.core.sites import SIDES, Side, foot_of, shank_of
from imuproc.events.fusion import FusionSettings
from imuproc.events.unaided import UnaidedSettings, find_marked_events
from imuproc.synth.truth import Truth
from scripts import accuracy
from scripts.lab import event_methods as rules
from scripts.lab import orientation_methods as drift
from scripts.lab.accuracy_cases import keep_sites
from scripts.lab.comparison_tables import (
    ENOUGH_FOUND,
    EVENTS,
    PACKAGE,
    PITCH,
    SHIN,
    build_angle_table,
    build_event_table,
    describe_verdict,
    print_table,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

FOUND_S: Final = 0.12
FOOT_SPEED_MPS: Final = 1.0
"""Of 0.5 to 4 m/s the one with the least scatter of contact time on real and simulated runs."""
SLOW_S: Final = 30.0
"""Time constant of the filter's trust in gravity, ten times its default: longer than a run."""


@dataclass(frozen=True, eq=False)
class Leg:
    """One leg's signals in segment axes, and its cycles.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    rate_hz, gravity_mps2 : float
    shank, foot : Conditioned
    cycles : ndarray of int, shape (m, 2)
        Samples of one forward swing and of the next.
    stances : ndarray of int, shape (m, 2)
        Samples of each rough contact, as the package's signals alone give it.
    rests : ndarray of int, shape (m,)
        Where the foot is most at rest in each stance.
    """

    time_s: FloatArray
    rate_hz: float
    gravity_mps2: float
    shank: Conditioned
    foot: Conditioned
    cycles: IntArray
    stances: IntArray
    rests: IntArray


def extract_leg(result: Result, side: Side) -> Leg:
    """Signals and cycles of one leg of a processed run."""
    conditioned = result.conditioned
    own = result.contacts.take(result.contacts.side == side)
    rough = find_marked_events(own.evidence, UnaidedSettings(), FusionSettings())
    ends_s = np.stack((rough.touchdown_s, rough.toe_off_s), axis=1)
    stances = np.searchsorted(conditioned.time_s, ends_s)
    foot = conditioned.segments[foot_of(side)]
    return Leg(
        conditioned.time_s,
        conditioned.rate_hz,
        conditioned.recording.gravity_mps2,
        conditioned.segments[shank_of(side)],
        foot,
        find_cycles(own.evidence["swing_s"], conditioned.time_s),
        stances,
        rules.find_stillest(foot.gyro_radps, foot.accel_mps2, stances, conditioned.rate_hz),
    )


def find_cycles(swing_s: FloatArray, time_s: FloatArray) -> IntArray:
    """Samples from each forward swing to the next, shape (m, 2).

    Where the next swing is missing (last contact, or one not found) the cycle lasts as long as the
    median of the leg.
    """
    gap = np.append(np.diff(swing_s), np.inf)
    usual = float(np.median(gap[:-1])) if len(gap) > 1 else 0.5
    end_s = swing_s + np.where(gap < 1.5 * usual, gap, usual)
    samples = np.searchsorted(time_s, np.stack((swing_s, end_s), axis=1))
    return np.asarray(samples.clip(0, len(time_s) - 1), dtype=np.int64)


# --- Methods -------------------------------------------------------------------------------------


def find_rule_events(leg: Leg) -> dict[str, rules.Events]:
    """Touchdown and toe-off of every cycle by each published rule."""
    time_s, rate_hz, cycles, rests = leg.time_s, leg.rate_hz, leg.cycles, leg.rests
    # About -y: the shank's forward swing and the toe's rise are positive.
    shank_rate, foot_rate = -leg.shank.gyro_radps[:, 1], -leg.foot.gyro_radps[:, 1]
    shank_accel, foot_accel = leg.shank.accel_mps2, leg.foot.accel_mps2
    return {
        "foot: rate minima, halves of cycle": rules.find_foot_rate_minima(
            time_s, foot_rate, cycles, rate_hz
        ),
        "foot: rate minima, parted in stance": rules.find_foot_rate_minima_in_stance(
            time_s, foot_rate, cycles, leg.stances, rate_hz
        ),
        "shank: rate zero and minimum": rules.find_shank_zero_and_minimum(
            time_s, shank_rate, cycles, rate_hz
        ),
        "shank: two rate minima": rules.find_shank_two_minima(time_s, shank_rate, cycles, rate_hz),
        "shank: acceleration peaks": rules.find_shank_acceleration_peaks(
            time_s, shank_accel, leg.stances, rate_hz
        ),
        "foot: acceleration peaks": rules.find_foot_acceleration_peaks(
            time_s, foot_accel, leg.stances, rate_hz
        ),
        f"foot: speed below {FOOT_SPEED_MPS:g} m/s": rules.find_slow_foot(
            time_s, _estimate_foot_speed(leg), rests, cycles, FOOT_SPEED_MPS
        ),
    }


def _estimate_foot_speed(leg: Leg) -> FloatArray:
    """Speed of the foot without help from the package's motion."""
    quat = _close_integration(leg, leg.foot, by_motion=True)
    return rules.estimate_foot_speed(
        quat, leg.foot.accel_mps2, leg.rests, leg.rate_hz, leg.gravity_mps2
    )


def _find_stand(segment: Conditioned) -> Interval:
    still = segment.calibration.still_before or segment.calibration.still_after
    if still is None:
        raise ValueError(f"{segment.site} has no quiet standing; nothing can be compared")
    return still


def _close_integration(leg: Leg, segment: Conditioned, by_motion: bool) -> FloatArray:
    """Integration closed between both stands; open where the athlete stood only once."""
    quat = drift.integrate_rate(leg.time_s, segment.gyro_radps, leg.rate_hz, _find_stand(segment))
    before, after = segment.calibration.still_before, segment.calibration.still_after
    if before is None or after is None:
        return quat
    share = (
        drift.spread_drift_by_motion(segment.gyro_radps, leg.rate_hz)
        if by_motion
        else drift.spread_drift_by_time(leg.time_s)
    )
    return drift.close_between_stands(leg.time_s, quat, segment.accel_mps2, (before, after), share)


def estimate_orientations(leg: Leg, segment: Conditioned, motion: Motion) -> dict[str, FloatArray]:
    """Quaternions of a segment by each way of holding drift down, shape (n, 4) each."""
    gyro, accel, rate_hz = segment.gyro_radps, segment.accel_mps2, leg.rate_hz
    open_end = drift.integrate_rate(leg.time_s, gyro, rate_hz, _find_stand(segment))
    return {
        "orientation filter, offline": drift.filter_orientation(gyro, accel, rate_hz),
        "orientation filter, offline, slow": drift.filter_orientation(gyro, accel, rate_hz, SLOW_S),
        "orientation filter, real-time": drift.filter_orientation_live(gyro, accel, rate_hz),
        "integration from standing": open_end,
        "standing to standing, by time": _close_integration(leg, segment, by_motion=False),
        "standing to standing, by motion": _close_integration(leg, segment, by_motion=True),
        "levelled in every stance": drift.level_in_stance(open_end, accel, leg.rests, rate_hz),
        f"{PACKAGE}: same axes": motion.segments[segment.site].quat_wxyz,
    }


# --- Against the truth ---------------------------------------------------------------------------


def select_real_contacts(truth: Truth) -> pd.DataFrame:
    """Contacts of the truth that are to be judged."""
    inside = truth.steps["touchdown_s"].between(truth.valid_from_s, truth.valid_to_s)
    return truth.steps[inside]


def _build_event_rows(events: rules.Events, own: pd.DataFrame) -> pd.DataFrame:
    """Errors of the mark nearest to each true event, if within 120 ms; NaN else."""
    errors = {}
    for name, marks, column in zip(EVENTS, events, ("touchdown_s", "toe_off_s"), strict=False):
        errors[name] = find_nearest_error(np.asarray(marks), own[column].to_numpy(dtype=np.float64))
    errors["contact time"] = errors["toe-off"] - errors["touchdown"]
    table = pd.DataFrame({"step": own["step"].to_numpy(), **errors})
    return table.melt("step", var_name="figure", value_name="error")


def find_nearest_error(marks_s: FloatArray, true_s: FloatArray) -> FloatArray:
    """Error of the mark nearest to each true instant, NaN beyond 120 ms, shape (k,)."""
    known = marks_s[np.isfinite(marks_s)]
    if len(known) == 0:
        return np.full(len(true_s), np.nan)
    gap = known[None, :] - true_s[:, None]
    error = gap[np.arange(len(true_s)), np.argmin(np.abs(gap), axis=1)]
    return np.where(np.abs(error) <= FOUND_S, error, np.nan)


def compute_event_errors(result: Result, alone: Result, truth: Truth) -> pd.DataFrame:
    """One row per true contact, figure and method: ``method, figure, step, error`` in s."""
    tables = []
    real = select_real_contacts(truth)
    for side in SIDES:
        own = real[real["side"] == side]
        contacts = result.contacts.take(result.contacts.side == side)
        marked = find_marked_events(contacts.evidence, UnaidedSettings(), FusionSettings())
        methods = {
            **find_rule_events(extract_leg(result, side)),
            f"{PACKAGE}: signals only": (marked.touchdown_s, marked.toe_off_s),
            f"{PACKAGE}: shank alone": _read_result_events(alone, side),
            f"{PACKAGE}: from motion": _read_result_events(result, side),
        }
        tables += [_build_event_rows(e, own).assign(method=m) for m, e in methods.items()]
    return pd.concat(tables, ignore_index=True)


def _read_result_events(result: Result, side: Side) -> rules.Events:
    own = result.steps[result.steps["side"] == side]
    return (
        own["touchdown_s"].to_numpy(dtype=np.float64),
        own["toe_off_s"].to_numpy(dtype=np.float64),
    )


def compute_angle_errors(result: Result, alone: Result, truth: Truth) -> pd.DataFrame:
    """``method, figure, step, error, square``: shin at true touchdown; foot pitch over each swing.

    Mean and mean square in deg and deg²; of one instant the square of its error.
    """
    real = select_real_contacts(truth)
    rows: list[dict[str, object]] = []
    for side in SIDES:
        leg = extract_leg(result, side)
        own = real[real["side"] == side]
        for method, curve in _compute_angle_curves(
            result, leg, leg.shank, "shin_angle", side
        ).items():
            rows += _build_shin_rows(method, leg.time_s, curve, own)
        if f"shin_angle_{side}_deg" in alone.curves:
            curve = alone.curves[f"shin_angle_{side}_deg"].to_numpy()
            time_s = alone.curves["time_s"].to_numpy()
            rows += _build_shin_rows(f"{PACKAGE}: shank alone", time_s, curve, own)
        for method, curve in _compute_angle_curves(
            result, leg, leg.foot, "foot_pitch", side
        ).items():
            rows += _build_swing_rows(method, leg.time_s, curve, truth, own)
    return pd.DataFrame(rows)


def _compute_angle_curves(
    result: Result, leg: Leg, segment: Conditioned, figure: str, side: Side
) -> dict[str, FloatArray]:
    """Sagittal angle of a segment by each method on the leg's clock in deg."""
    shin = figure == "shin_angle"
    axis = np.array([0.0, 0.0, 1.0] if shin else [1.0, 0.0, 0.0])
    zero = 90.0 if shin else 0.0
    curves = {
        name: zero
        + drift.compute_sagittal_deg(
            leg.time_s, quat, segment.gyro_radps, axis, _find_stand(segment)
        )
        for name, quat in estimate_orientations(leg, segment, result.motion).items()
    }
    ours = result.curves[f"{figure}_{side}_deg"].to_numpy()
    curves[f"{PACKAGE}: as reported"] = np.interp(leg.time_s, result.curves["time_s"], ours)
    return curves


def _build_shin_rows(
    method: str, time_s: FloatArray, curve: FloatArray, own: pd.DataFrame
) -> list[dict[str, object]]:
    measured = np.interp(own["touchdown_s"].to_numpy(dtype=np.float64), time_s, curve)
    errors = measured - own["shin_angle_touchdown_deg"].to_numpy(dtype=np.float64)
    return [
        {"method": method, "figure": SHIN, "step": s, "error": e, "square": e * e}
        for s, e in zip(own["step"], errors, strict=True)
    ]


def _build_swing_rows(
    method: str, time_s: FloatArray, curve: FloatArray, truth: Truth, own: pd.DataFrame
) -> list[dict[str, object]]:
    side = own["side"].iloc[0]
    at, name = truth.curves["time_s"].to_numpy(), f"foot_pitch_{side}_deg"
    starts = np.append(truth.departures_s.get(side, np.nan), own["toe_off_s"])[:-1]
    rows: list[dict[str, object]] = []
    for step, start, end in zip(own["step"], starts, own["touchdown_s"], strict=True):
        if not (0.05 < end - start < 0.7):
            continue
        part = slice(*np.searchsorted(at, [start, end]))
        error = np.interp(at[part], time_s, curve) - truth.curves[name].to_numpy()[part]
        rows.append(
            {
                "method": method,
                "figure": PITCH,
                "step": step,
                "error": float(error.mean()),
                "square": float(np.mean(error**2)),
            }
        )
    return rows


# --- Running it ----------------------------------------------------------------------------------

Cases = Iterator[tuple[str, Recording, Truth]]


def compare_methods(
    cases: Cases, athlete_of: Callable[[str], str]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Errors of all methods in all cases.

    Parameters
    ----------
    cases : iterator of (name, Recording, Truth)
    athlete_of : callable
        Athlete of a case's name.

    Returns
    -------
    events, angles : DataFrame
        As :func:`compute_event_errors` and :func:`compute_angle_errors`, with ``athlete`` and
        ``case``.
    """
    events, angles = [], []
    for name, recording, truth in cases:
        result = imuproc.process(recording)
        alone = imuproc.process(keep_sites(recording, "shank"))
        marks = {"athlete": athlete_of(name), "case": name}
        events.append(compute_event_errors(result, alone, truth).assign(**marks))
        angles.append(compute_angle_errors(result, alone, truth).assign(**marks))
    return pd.concat(events, ignore_index=True), pd.concat(angles, ignore_index=True)


def find_runner(name: str) -> str:
    """Runner of a real case (each ran at three speeds); a simulated run is an athlete by itself."""
    return name.split("-")[0] if name.startswith("RBDS") else name


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--real", action="store_true", help="real motion with a force plate")
    parser.add_argument("--count", type=int, default=8, help="number of simulated runs")
    parser.add_argument("--limit", type=int, default=0, help="at most about so many real cases")
    parser.add_argument("--seed", type=int, default=20_260_000)
    parser.add_argument("--grade", default="mid")
    parser.add_argument("--rate", type=float, default=500.0, help="sampling rate in Hz")
    parser.add_argument("--shock", default="none", choices=("none", "weak", "strong"))
    parser.add_argument("--csv", type=Path, help="write both tables here too")
    given = parser.parse_args()
    cases = (
        accuracy.make_real_cases(given.grade, given.rate, given.seed, given.shock, given.limit)
        if given.real
        else accuracy.make_simulated_cases(given.count, given.seed, given.grade, given.rate)
    )
    events, angles = compare_methods(cases, find_runner)
    event_rows, angle_rows = build_event_table(events), build_angle_table(angles)
    print(
        f"{events['case'].nunique()} runs of {events['athlete'].nunique()} athletes at "
        f"{given.rate:g} Hz. All methods are given the same cycles and the same segment axes; "
        "'free' is with the method's own mean error taken off (athlete left out)."
    )
    print_table("Events", event_rows, 1)
    print_table("Orientation", angle_rows, 2)
    print(f"\nLeast errors (of methods that found {100 * ENOUGH_FOUND:.0f} % at least)")
    print(describe_verdict(event_rows, angle_rows))
    if given.csv:
        pd.concat((event_rows, angle_rows), ignore_index=True).to_csv(given.csv, index=False)
    return 0


if __name__ == "__main__":
    sys.exit(main())
