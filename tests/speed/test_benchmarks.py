"""How long a run of 15 s at 1000 Hz takes; run with ``pytest tests/speed --benchmark-only``.

The bars are ratios within the group (see ``scripts/bench.py``, which prints them): from arrays at
most 5 times the general orientation filter, from files at most twice the parse more than that.
"""

from pathlib import Path

import numpy as np
import pytest
from pyarrow import csv
from pytest_benchmark.fixture import BenchmarkFixture
from vqf import offlineVQF

import imuproc
from imuproc.core.recording import Recording
from scripts.bench import make_one_run, write_session


@pytest.fixture(scope="module")
def recording() -> Recording:
    return make_one_run(15.0, 1000.0)


@pytest.mark.benchmark(group="arrays to result")
def test_arrays_to_result(benchmark: BenchmarkFixture, recording: Recording) -> None:
    result = benchmark(imuproc.process, recording)
    assert len(result.steps) > 10


@pytest.mark.benchmark(group="arrays to result")
def test_general_orientation_filter(benchmark: BenchmarkFixture, recording: Recording) -> None:
    logs = [
        (np.ascontiguousarray(log.gyro_radps), np.ascontiguousarray(log.accel_mps2))
        for log in recording.logs.values()
    ]
    found = benchmark(lambda: [offlineVQF(gyro, accel, None, 0.001) for gyro, accel in logs])
    assert len(found) == 4


@pytest.mark.benchmark(group="files to result")
def test_files_to_result(benchmark: BenchmarkFixture, recording: Recording, tmp_path: Path) -> None:
    session = imuproc.read_session(write_session(tmp_path / "session", recording, 1))
    result = benchmark(lambda: imuproc.process(session.read_run("R07-01")))
    assert len(result.steps) > 10


@pytest.mark.benchmark(group="files to result")
def test_parsing_the_files_alone(
    benchmark: BenchmarkFixture, recording: Recording, tmp_path: Path
) -> None:
    path = write_session(tmp_path / "session", recording, 1)
    files = sorted((path.parent / "logs").iterdir())
    options = csv.ReadOptions(use_threads=False)
    tables = benchmark(lambda: [csv.read_csv(file, read_options=options) for file in files])
    assert len(tables) == 4
