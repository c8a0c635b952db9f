"""A folder of results as ``imuproc process`` leaves it, with runs of every kind in it."""

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete
from imuproc.core.result import Result
from imuproc.report.pages.writing import write_report
from imuproc.results.archive.assembling import assemble_session
from imuproc.results.archive.writing import write_run_archive
from tests.archive.made_archives import provenance
from tests.archive.real_results import real_result

HOSTILE = (
    "<script>alert(1)</script>\"'><img src=x onerror=alert(2)> \u202eesrever\u202c =1+1 &amp; "
)
LONG = HOSTILE + "x" * 5000
SESSION: Mapping[str, Any] = {
    "id": "harbour-2031-04-12",
    "date": "2031-04-12",
    "surface": "track",
    "note": HOSTILE,
}
SOUND, NOTED, DOUBTFUL, FAILED = "R07-01", "R07-02", "R07-03", "R07-04"


def with_people(result: Result, athlete: Athlete | None = None, note: str | None = None) -> Result:
    """A result whose athlete, or the note on whose run, is another."""
    recording = result.conditioned.recording
    run = replace(recording.run, id=result.run, note=note)
    recording = replace(recording, run=run, athlete=athlete or recording.athlete)
    steps = result.steps.assign(athlete=recording.athlete.id)
    conditioned = replace(result.conditioned, recording=recording)
    return replace(result, athlete=recording.athlete.id, conditioned=conditioned, steps=steps)


def hostile_result() -> Result:
    """A sound run whose notes try to get out of the page."""
    athlete = Athlete(id="R07", note=LONG, group=HOSTILE, shank_length_m=0.43, foot_length_m=0.27)
    return with_people(real_result(NOTED), athlete, LONG)


def doubtful_result() -> Result:
    """A run with a sensor in trouble: one side's angles are withheld."""
    result = real_result(DOUBTFUL)
    steps = result.steps.copy()
    left = steps["side"] == "left"
    names = [name for name in steps.columns if "_deg" in name or "ankle_" in name]
    steps.loc[left, names] = np.nan
    flag = RaisedFlag("mounting_sign_unsure", site="left_shank")
    return replace(result, steps=steps, flags=(*result.flags, flag))


_KEPT = TemporaryDirectory(prefix="imuproc-report-")


@lru_cache(maxsize=1)
def archived_folder() -> Path:
    """The folder below, made once for all tests; not to be changed."""
    return results_folder(Path(_KEPT.name) / "out")


@lru_cache(maxsize=1)
def reported_folder() -> Path:
    """The same folder with its report."""
    write_report(archived_folder())
    return archived_folder()


def results_folder(folder: Path) -> Path:
    """Write archives of runs and session, and the run table."""
    (folder / "runs").mkdir(parents=True)
    results = [real_result(SOUND), hostile_result(), doubtful_result()]
    paths = [folder / "runs" / f"{result.run}.h5" for result in results]
    for path, result in zip(paths, results, strict=True):
        write_run_archive(path, result, provenance(result.run))
    assemble_session(folder / "session.h5", paths, SESSION)
    rows = [
        "session,athlete,run,start,distance_m,status,reason",
        f"harbour-2031-04-12,R07,{FAILED},blocks,30,failed,no <b>quiet</b> standing was found",
    ]
    (folder / "runs.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder
