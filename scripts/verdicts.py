"""What a coach is told, against what was planted: faults found, and sound runs called faulty.

    python scripts/verdicts.py                 360 runs with a fault, 200 sound ones; some minutes
    python scripts/verdicts.py --part sound --count 40

Runs are simulated with mid-grade sensors: five faults in three sizes, two starts, three levels,
with and without foot sensors, at 200 and 500 Hz. What a run truly shows is read off its true
figures and phases with the same targets: a fault is *clear* where in some phase the true mean lies
outside the band by at least twice what is worth a word (or left and right differ by as much), and
*not there* where no phase has a mean outside and fewer than 15 % of its steps are. What lies
between may be told or not. A fault counts as found when it is told once, of the right figure,
direction, phase and side. Contact is judged by speed, so it counts only where speed is measured.
Simulated technique is ours: this shows that the judging adds no faults and loses none, not
that the bands are right.
"""

import argparse
import itertools
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import imuproc
from imuproc.agreement.judging import match_steps
from imuproc.assessment.cue_words import DIFFERS
from imuproc.assessment.cues import Cue, find_cues
from imuproc.assessment.targets import DEFAULT, TargetSet, read_targets
from imuproc.assessment.verdicts import ABOVE, BELOW, find_verdicts
from imuproc.core.columns import FIGURES, repeat_name, uncertainty_name
from imuproc.core.flag_policy import select_run_flags
from imuproc.core.recording import Recording, Start
from imuproc.estimators.phase import PhaseSettings
from imuproc.synth.plan import RunPlan, Technique, draw_plan
from imuproc.synth.runs import RunMotion, make_motion, make_rig, simulate_motion
from imuproc.synth.truth import Truth

SEED = 74_000_000
FAULTS = ("toe drop", "reaching", "upright drive", "asymmetry", "long contacts")
SIZES = {"small": 0.5, "middle": 1.0, "large": 1.6}
LEVELS_MPS = (7.6, 8.8, 10.2)
STARTS: tuple[Start, ...] = ("blocks", "standing")
TARGETS = read_targets()[DEFAULT]
_TINY = 1e-6


@dataclass(frozen=True)
class Case:
    """One run: what is planted, who runs, with what sensors."""

    number: int
    start: Start
    level_mps: float
    sensors: str
    rate_hz: float
    fault: str = "none"
    size: str = ""


def list_fault_cases() -> list[Case]:
    """Every fault in every size, start, level, with and without foot sensors, at both rates."""
    kinds = itertools.product(FAULTS, SIZES, STARTS, LEVELS_MPS, ("all", "shank"), (200.0, 500.0))
    return [
        Case(number, start, level, sensors, rate, fault, size)
        for number, (fault, size, start, level, sensors, rate) in enumerate(kinds)
    ]


def list_sound_cases(count: int) -> list[Case]:
    """Runs without a fault, the conditions taken in turn."""
    kinds = itertools.product((200.0, 500.0), LEVELS_MPS, ("all", "all", "shank"), STARTS)
    turns = itertools.islice(itertools.cycle(kinds), count)
    return [
        Case(1000 + number, start, level, sensors, rate)
        for number, (rate, level, sensors, start) in enumerate(turns)
    ]


def plant_fault(technique: Technique, fault: str, share: float) -> Technique:
    """A technique with a fault; a share of 1 is a fault that a coach would see."""
    t = technique
    if fault == "toe drop":
        return replace(t, dorsiflexion_swing_deg=t.dorsiflexion_swing_deg - 10.0 - 12.0 * share)
    if fault == "reaching":
        return replace(
            t,
            shin_touchdown_first_deg=t.shin_touchdown_first_deg + 16.0 * share,
            shin_touchdown_top_deg=t.shin_touchdown_top_deg + 14.0 * share,
        )
    if fault == "upright drive":
        return replace(
            t,
            shin_touchdown_first_deg=t.shin_touchdown_first_deg + 14.0 * share,
            posture_steps=t.posture_steps * (1.0 - 0.45 * min(share, 1.4)),
        )
    if fault == "asymmetry":
        half, toe, contact_s = 4.0 * share, 5.0 * share, 0.006 * share
        return replace(
            t,
            shin_offset_deg=(t.shin_offset_deg[0] + half, t.shin_offset_deg[1] - half),
            dorsiflexion_offset_deg=(
                t.dorsiflexion_offset_deg[0] - toe,
                t.dorsiflexion_offset_deg[1] + toe,
            ),
            contact_offset_s=(
                t.contact_offset_s[0] + contact_s,
                t.contact_offset_s[1] - contact_s,
            ),
        )
    if fault == "long contacts":
        return replace(t, contact_factor=t.contact_factor * (1.1 + 0.3 * share))
    return t


def make_run(case: Case, seed: int) -> tuple[RunMotion, Recording, Truth]:
    """Simulated run of a case: athlete, technique and sensors are drawn."""
    rng = np.random.default_rng([seed, case.number])
    plan: RunPlan = draw_plan(rng, case.start, float(rng.choice([20.0, 30.0, 40.0, 60.0])))
    technique = plant_fault(plan.technique, case.fault, SIZES.get(case.size, 0.0))
    motion = make_motion(replace(plan, vmax_mps=case.level_mps, technique=technique))
    rig = make_rig("mid", case.rate_hz, rng)
    recording, truth = simulate_motion(motion, rig, rng)
    if case.sensors == "shank":
        logs = {site: log for site, log in recording.logs.items() if site.endswith("shank")}
        recording = replace(recording, logs=logs)
    return motion, recording, truth


def find_true_phases(motion: RunMotion, touchdown_s: np.ndarray, effort: np.ndarray) -> np.ndarray:
    """Phases from the plan: what v = vmax (1 - exp(-t / tau)) gains within a step."""
    settings = PhaseSettings()
    speed = np.array([motion.course.interpolate_speed(t) for t in touchdown_s])
    lacking = 1.0 - speed / motion.plan.vmax_mps
    gain = lacking / motion.plan.tau_s * np.gradient(touchdown_s)
    phase = np.where(gain >= settings.drive_gain, "drive", "transition").astype(object)
    phase[gain < settings.transition_gain] = "upright"
    phase[~effort] = "slowing"
    return phase


def find_true_faults(
    steps: pd.DataFrame, targets: TargetSet
) -> dict[tuple[str, str], dict[str, str]]:
    """Phases by figure and direction: ``clear`` or ``some``; else a fault is not there."""
    judged = find_verdicts(steps, targets)
    found: dict[tuple[str, str], dict[str, str]] = {}
    for (figure, phase), rows in judged.groupby(["figure", "phase"]):
        for direction, end, sign in ((ABOVE, "high", 1.0), (BELOW, "low", -1.0)):
            beyond = (sign * (rows["value"] - rows[end])).to_numpy()
            beyond = beyond[np.isfinite(beyond)]
            least = rows["least_excess"].iloc[0]
            if len(beyond) >= 2 and beyond.mean() >= 2.0 * least:
                found.setdefault((figure, direction), {})[phase] = "clear"
            elif len(beyond) and (beyond.mean() > 0.0 or (beyond > 0.0).mean() >= 0.15):
                found.setdefault((figure, direction), {})[phase] = "some"
    for one in targets.differences:
        values = steps[one.figure].to_numpy(dtype=float)
        left = (steps["side"] == "left").to_numpy()
        # Over pairs of neighbours, so that the change through the run does not count.
        pairs = np.diff(values) * np.where(left[1:], 1.0, -1.0)
        apart = pairs[np.isfinite(pairs)].mean() if np.isfinite(pairs).any() else 0.0
        level = "clear" if abs(apart) >= 2.0 * one.least else "some"
        if abs(apart) >= 0.5 * one.least:
            found[one.figure, DIFFERS] = {"left" if apart > 0.0 else "right": level}
    return found


def run_case(case: Case, seed: int) -> dict[str, object]:
    """What was told of a run, held against what it truly shows."""
    motion, recording, truth = make_run(case, seed)
    about = {name: getattr(case, name) for name in ("fault", "size", "start", "level_mps")}
    about |= {"sensors": case.sensors, "rate_hz": case.rate_hz}
    try:
        result = imuproc.process(recording)
    except imuproc.ImuprocError as error:
        return {**about, "refused": str(error)[:80]}
    rows = np.array(match_steps(result.steps, truth.steps))
    found = result.steps.iloc[rows[:, 0]].reset_index(drop=True)
    true = truth.steps.iloc[rows[:, 1]].reset_index(drop=True)
    stances = [s for s in motion.schedule.stances if s.kind != "ready"]
    shift_s = truth.steps["touchdown_s"].iloc[0] - stances[0].touchdown_s
    touchdown_s = true["touchdown_s"].to_numpy() - shift_s
    effort = touchdown_s < motion.course.effort_end_s
    phase = find_true_phases(motion, touchdown_s, effort)
    told_phases = found[["phase", "phase_alternative"]].to_numpy()
    wrong = effort & (told_phases != phase[:, None]).all(axis=1)
    # The last two steps of the effort may count as slowing, which is not judged.
    last_two = np.arange(len(found)) >= np.flatnonzero(effort)[-1] - 1
    wrong &= ~(last_two & (told_phases == "slowing").any(axis=1))
    table = found.copy()
    for figure in FIGURES:
        table[figure] = true.get(figure, np.nan)
        table[uncertainty_name(figure)] = table[repeat_name(figure)] = _TINY
    table["phase"], table["phase_alternative"] = phase, ""
    planted = find_true_faults(table[effort], TARGETS)
    figures = dict(imuproc.summarise(result).figures)
    told = find_cues(find_verdicts(result.steps, TARGETS), TARGETS, figures)
    serious = [flag.name for flag in select_run_flags(result.flags, "headline")]
    measured = [name for name in FIGURES if np.isfinite(found[name].astype(float)).any()]
    if "speed_mps" not in measured:
        measured.remove("contact_time_s")
    return {
        **about,
        **score_verdicts(told, planted, measured),
        "wrong": int(wrong.sum()),
        "serious": serious,
    }


def score_verdicts(
    told: Sequence[Cue],
    planted: dict[tuple[str, str], dict[str, str]],
    measured: Sequence[str],
) -> dict[str, object]:
    """Clear faults that are there and found, and items told that are not there."""
    clear = {key for key, places in planted.items() if "clear" in places.values()}
    clear = {key for key in clear if key[0] in measured}
    uneven = {key for key in clear if key[1] == DIFFERS}
    others = clear - uneven
    # A fault of one foot is told with the difference, which is told of one figure only.
    named = {(cue.figure, cue.direction): cue for cue in told}
    hits = [key for key in others if _is_right(named.get(key), planted[key])]
    hits += [key for key in others - set(hits) if (key[0], DIFFERS) in named]
    if uneven:
        right = [key for key in uneven if _is_right(named.get(key), planted[key])]
        hits += right[:1]
    invented = [f"{cue.figure} {cue.direction}" for key, cue in named.items() if key not in planted]
    return {
        "clear": len(others) + bool(uneven),
        "found": len(hits),
        "missed": "; ".join(" ".join(key) for key in clear - set(hits)),
        "false": "; ".join(invented),
        "told": "; ".join(f"{c.figure} {c.direction} {','.join(c.phases)} {c.side}" for c in told),
        "planted": "; ".join(f"{' '.join(key)} {places}" for key, places in planted.items()),
    }


def _is_right(cue: Cue | None, places: dict[str, str]) -> bool:
    """Whether a cue is there, of a phase (or side) in which the fault truly is."""
    if cue is None:
        return False
    told = {cue.side} if cue.direction == DIFFERS else set(cue.phases)
    return bool(told & set(places))


def main() -> None:
    """Run all cases and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--part", choices=("faults", "sound"), help="only this part")
    parser.add_argument("--count", type=int, default=200, help="sound runs")
    parser.add_argument("--every", type=int, default=1, help="only every n-th run with a fault")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--out", type=Path, help="write one row per run to this CSV file")
    options = parser.parse_args()
    cases = [] if options.part == "sound" else list_fault_cases()[:: options.every]
    cases += [] if options.part == "faults" else list_sound_cases(options.count)
    rows = pd.DataFrame(Parallel(options.jobs)(delayed(run_case)(c, options.seed) for c in cases))
    if options.out:
        rows.to_csv(options.out, index=False)
    print_tables(rows)


def print_tables(rows: pd.DataFrame) -> None:
    """Found of clear faults by kind, size, start, sensors and rate; false items; wrong phases."""
    for by in (["fault", "size"], ["fault", "start"], ["fault", "sensors"], ["fault", "rate_hz"]):
        sums = rows.groupby(by)[["clear", "found"]].sum()
        runs = rows.groupby(by).size().rename("runs")
        false = rows["false"].fillna("").ne("").groupby([rows[name] for name in by]).sum()
        wrong = rows["wrong"].gt(0).groupby([rows[name] for name in by]).sum()
        print(pd.concat([runs, sums, false.rename("false"), wrong.rename("wrong phases")], axis=1))
        print()
    flagged = int(rows["serious"].str.len().gt(0).sum())  # of runs that were refused NaN
    wrong = int(rows["wrong"].gt(0).sum())
    print(f"{wrong} of {len(rows)} runs have a step in a wrong phase; {flagged} get no advice.")


if __name__ == "__main__":
    main()
