"""Clocks found from events in random studies, and refused in those made ambiguous on purpose.

    python scripts/clock_studies.py             200 studies of each kind
    python scripts/clock_studies.py --studies 40

A study is a simulated sprint with its true contacts. Table and reference each miss 20 % of the
contacts, have 10 % false ones and errors of their own (2.5 ms; 1.5 ms and frames of 1/240 s). Its
clocks differ by anything up to 1000 s. Ambiguous ones are steps of equal length on a belt.
"""

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from imuproc.agreement.alignment.clock import ClockError, clock_from_events
from imuproc.agreement.events import EventTrain, make_event_train
from imuproc.synth.course import make_course
from imuproc.synth.plan import draw_plan
from imuproc.synth.schedule import make_schedule

FloatArray = NDArray[np.float64]
FRAME_S = 1.0 / 240.0
SEED = 907
TOLERANCE_S = 0.002


@dataclass(frozen=True, eq=False)
class Contacts:
    """True contacts."""

    side: NDArray[np.str_]
    touchdown_s: FloatArray
    toe_off_s: FloatArray


def draw_sprint(rng: np.random.Generator) -> Contacts:
    """Contacts of a sprint of 30 to 60 m by an athlete drawn at random."""
    start = ("blocks", "three-point", "standing")[int(rng.integers(3))]
    plan = draw_plan(rng, start, float(rng.uniform(30.0, 60.0)))
    stances = make_schedule(plan, make_course(plan)).stances
    run = [s for s in stances if s.kind == "run"]
    return Contacts(
        np.array([s.side for s in run]),
        np.array([s.touchdown_s for s in run]),
        np.array([s.toe_off_s for s in run]),
    )


def draw_treadmill_run(rng: np.random.Generator) -> Contacts:
    """Steps of equal length at one speed, left and right perhaps unlike."""
    step_s, uneven = rng.uniform(0.30, 0.36), rng.choice([0.0, 0.01])
    count = int(rng.integers(24, 40))
    left = np.arange(count) % 2 == 0
    down = np.cumsum(np.where(left, step_s + uneven, step_s - uneven))
    return Contacts(np.where(left, "left", "right"), down, down + 0.6 * step_s)


def draw_seen_contacts(
    rng: np.random.Generator, true: Contacts, sd_s: float, shift_s: float, frame_s: float
) -> EventTrain:
    """Contacts as one side sees them: 20 % missed, 10 % false, errors, whole frames."""
    n = len(true.side)
    kept = rng.random(n) > 0.2
    false = rng.binomial(n, 0.1)
    wrong = rng.uniform(true.touchdown_s[0], true.touchdown_s[-1], false)
    down = np.concatenate((true.touchdown_s + sd_s * rng.standard_normal(n), wrong))
    off = np.concatenate(
        (true.toe_off_s + sd_s * rng.standard_normal(n), wrong + rng.uniform(0.08, 0.25, false))
    )
    side = np.concatenate((true.side, rng.choice(["left", "right"], false)))
    taken = np.concatenate((kept, np.ones(false, dtype=bool)))
    down, off = down[taken] + shift_s, off[taken] + shift_s
    if frame_s > 0.0:  # the middle of the frame in which it happened
        down, off = ((np.ceil(t / frame_s) - 0.5) * frame_s for t in (down, off))
    return make_event_train(side[taken], down, off)


def measure_offset_error(seed: int, ambiguous: bool) -> float | str:
    """Error of the offset found in s, or the sentence of the refusal."""
    rng = np.random.default_rng([SEED, seed, int(ambiguous)])
    true = draw_treadmill_run(rng) if ambiguous else draw_sprint(rng)
    shift = float(rng.uniform(-1000.0, 1000.0))
    table = draw_seen_contacts(rng, true, 0.0025, 0.0, 0.0)
    reference = draw_seen_contacts(rng, true, 0.0015, shift, FRAME_S)
    if ambiguous and rng.random() < 0.5:  # sides unknown
        reference = EventTrain(
            reference.time_s,
            reference.kind,
            np.zeros_like(reference.side),
            reference.start_s,
            reference.end_s,
        )
    try:
        clock = clock_from_events(table, reference, FRAME_S)
    except ClockError as error:
        return str(error)
    return float(clock.to_reference(clock.at_s) - clock.at_s - shift)


def main() -> int:
    """Print what was found; 1 when a clock was wrong, refused or wrongly taken."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--studies", type=int, default=200)
    count = parser.parse_args().studies
    sprints = [measure_offset_error(seed, ambiguous=False) for seed in range(count)]
    errors = np.array([e for e in sprints if not isinstance(e, str)])
    good = int(np.sum(np.abs(errors) <= TOLERANCE_S))
    print(
        f"sprints: {good} of {count} offsets within {1e3 * TOLERANCE_S:.0f} ms, "
        f"{len(errors) - good} farther off, {count - len(errors)} refused; "
        f"SD {1e3 * errors.std():.2f} ms, largest {1e3 * np.abs(errors).max():.2f} ms"
    )
    belts = [measure_offset_error(seed, ambiguous=True) for seed in range(count)]
    refused = sum(isinstance(e, str) for e in belts)
    print(f"made ambiguous: {refused} of {count} refused")
    return int(good < count or refused < count)


if __name__ == "__main__":
    raise SystemExit(main())
