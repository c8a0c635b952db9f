"""Make the sample session in data_samples again: an invented squad, simulated, with its truth.

    python scripts/make_samples.py            into data_samples, which must be empty
    python scripts/make_samples.py FOLDER     into another new folder

The same commit makes the same files, up to rounding by other versions of the numerical libraries.
"""

import datetime
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

REPO = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(REPO))

from imuproc.core.recording import Start  # noqa: E402
from imuproc.synth.plan import Fault, draw_plan  # noqa: E402
from imuproc.synth.session import PlannedRun, SessionPlan, write_session  # noqa: E402

SEED = 20_310_412

# Who runs what: start, distance in m, fault of technique or none. Codes, not people.
SQUAD: dict[str, list[tuple[Start, float, tuple[Fault, ...]]]] = {
    "R07": [
        ("three-point", 20.0, ("toe-drop",)),
        ("blocks", 30.0, ("toe-drop",)),
        ("standing", 30.0, ()),
    ],
    "R12": [("blocks", 30.0, ()), ("blocks", 30.0, ("reaching",))],
    "R19": [("crouch", 20.0, ("early-upright",)), ("rolling", 30.0, ("asymmetry",))],
}


def plan_samples() -> SessionPlan:
    """The session: bodies and technique drawn once an athlete, motion once a run."""
    runs = []
    for athlete, efforts in SQUAD.items():
        rng = np.random.default_rng([SEED, int(athlete[1:])])
        base = replace(draw_plan(rng), stand_before_s=3.2, stand_after_s=2.4, walk_steps=2)
        for number, (start, distance_m, faults) in enumerate(efforts, start=1):
            plan = replace(
                base,
                start=start,
                distance_m=distance_m,
                slow_distance_m=10.0,
                faults=faults,
                vmax_mps=base.vmax_mps * float(rng.uniform(0.97, 1.0)),
                seed=int(rng.integers(2**31)),
            )
            runs.append(PlannedRun(f"{athlete}-{number:02d}", athlete, plan))
    return SessionPlan(
        id="harbour-2031-04-12",
        date=datetime.date(2031, 4, 12),
        runs=tuple(runs),
        rate_hz=500.0,
        grade="mid",
        seed=SEED,
        compress=True,
        plain_runs=("R07-01",),
    )


def main() -> int:
    """Command line."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else REPO / "data_samples"
    path = write_session(folder, plan_samples(), lambda: print(".", end="", flush=True))
    size = sum(p.stat().st_size for p in folder.rglob("*") if p.is_file())
    print(f"\n{path}: {size / 1e6:.1f} MB in all")
    return 0


if __name__ == "__main__":
    sys.exit(main())
