"""Make the small archive of today's schema that must open for ever: tests/archive/kept/schema-N.h5.

    python scripts/make_kept_archive.py

Once for each schema, when it is new: a kept archive is never made again, or it would prove nothing.
A session of two runs, one of them failed, simulated at 100 Hz with three sensors.
"""

import hashlib
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

REPO = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(REPO))

from imuproc.core.recording import Recording, Run  # noqa: E402
from imuproc.pipeline.run import process  # noqa: E402
from imuproc.pipeline.settings import Settings  # noqa: E402
from imuproc.results.archive.assembling import assemble_session  # noqa: E402
from imuproc.results.archive.schema import SCHEMA  # noqa: E402
from imuproc.results.archive.writing import Provenance, write_run_archive  # noqa: E402
from imuproc.results.summarising import summarise  # noqa: E402
from imuproc.results.summary import RunSummary, make_failed_run  # noqa: E402
from imuproc.synth.plan import draw_plan  # noqa: E402
from imuproc.synth.runs import simulate_run  # noqa: E402

SEED = 20_310_412
RATE_HZ = 100.0
SITES = ("left_shank", "left_foot")
LARGEST_BYTES = 300_000


def make_recording() -> Recording:
    """A short sprint, so that the archive is small."""
    rng = np.random.default_rng(SEED)
    plan = replace(
        draw_plan(rng, start="standing", distance_m=4.5),
        stand_before_s=1.1,
        stand_after_s=0.8,
        walk_steps=1,
        slow_distance_m=2.5,
    )
    recording, _ = simulate_run(plan, "mid", RATE_HZ, rng, SITES)
    return replace(
        recording,
        session="harbour-2031-04-12",
        athlete=replace(recording.athlete, id="R07", note="Läuft gern"),
        run=replace(recording.run, id="R07-01"),
    )


def make_provenance(recording: Recording, summary: RunSummary) -> Provenance:
    """Where it comes from: the samples stand for the files that there are none of."""
    inputs = {
        f"logs/{site}": hashlib.sha256(log.accel_mps2.tobytes()).hexdigest()
        for site, log in recording.logs.items()
    }
    fingerprint = hashlib.sha256("".join(inputs.values()).encode()).hexdigest()
    return Provenance(fingerprint, inputs, Settings(), {summary.run: summary.row()})


def main() -> int:
    """Command line."""
    path = REPO / "tests" / "archive" / "kept" / f"schema-{SCHEMA}.h5"
    if path.exists():
        print(f"{path} is there; it is never made again")
        return 1
    path.parent.mkdir(exist_ok=True)
    recording = make_recording()
    result = process(recording)
    lost = Run("R07-02", note="sensor fell off")
    failed = make_failed_run(recording.session, recording.athlete, lost, "no sprint steps found")
    with tempfile.TemporaryDirectory() as folder:
        runs = [Path(folder) / "R07-01.h5", Path(folder) / "R07-02.h5"]
        done = make_provenance(recording, summarise(result))
        write_run_archive(runs[0], result, done)
        write_run_archive(runs[1], None, replace(done, summaries={"R07-02": failed.row()}))
        assemble_session(path, runs, {"id": recording.session, "date": "2031-04-12"})
    size = path.stat().st_size
    print(f"{path.relative_to(REPO)}: {size} bytes, {len(result.steps)} steps")
    return 0 if size <= LARGEST_BYTES else 1


if __name__ == "__main__":
    sys.exit(main())
