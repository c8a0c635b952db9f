"""Small archives that several test files look at; nothing here needs the method."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from imuproc.results.archive.writing import Provenance, write_run_archive
from tests.report.fake_result import fake_recording, fake_result

SETTINGS = {"motion": {"stance_from": 0.35, "stance_to": 0.65}, "runs": {"margin_s": 0.5}}
INPUTS = {"logs/b.csv": "b" * 64, "logs/a.csv": "a" * 64, "session.toml R07-01": "c" * 64}


def provenance(*run_ids: str, **more: Any) -> Provenance:
    """Provenance of runs, each with a row that says little."""
    summaries: Mapping[str, Mapping[str, Any]] = {
        run_id: {"run": run_id, "status": "done", "figures": {"mean_speed_mps": float("nan")}}
        for run_id in run_ids
    }
    return replace(Provenance("f" * 64, INPUTS, SETTINGS, summaries), **more)


def small_archive(path: Path, run_id: str = "R07-01") -> Path:
    """An archive with a step table but hardly any signals."""
    result = fake_result(fake_recording(run_id))
    write_run_archive(path, result, provenance(run_id))
    return path


def failed_archive(path: Path, run_id: str = "R07-09") -> Path:
    """The archive of a recording that could not be processed."""
    row = {run_id: {"run": run_id, "status": "failed", "reason": "no sprint steps found"}}
    write_run_archive(path, None, provenance(summaries=row))
    return path
