import datetime
import errno
import os
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from imuproc.batch.store import Job, is_current, join_archives, load_rows, write_archive
from imuproc.core.errors import ArchiveError, RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.result import Distance, Result
from imuproc.results.archive.sink import Sink
from imuproc.results.summarising import Measured, summarise_run
from tests.batch.jobs import jobs_of
from tests.report.fake_result import fake_result, fake_steps
from tests.session_folder import write_small_session

FLAGS = (
    RaisedFlag("no_standing_after"),
    RaisedFlag("event_unsure", {"figure": "contact_time_s", "value": 0.2}, step=3),
)


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return jobs_of(write_small_session(tmp_path / "session"), tmp_path / "out")[0]


def result_of(job: Job) -> Result:
    recording = job.task.session.read_run(job.task.run.id)
    distance = Distance(27.4, 0.3, {"drift": 0.3})
    return replace(fake_result(recording, flags=FLAGS), distances={job.task.run.id: distance})


def test_what_is_kept_is_recognised(job: Job) -> None:
    assert not is_current(job)
    write_archive(job, [result_of(job)])
    assert is_current(job)
    assert not is_current(replace(job, fingerprint="0" * 64))
    assert not is_current(replace(job, fingerprint=""))


@pytest.mark.parametrize("damage", ["cut", "flipped", "emptied"])
def test_a_damaged_archive_is_not_taken_for_finished_work(job: Job, damage: str) -> None:
    write_archive(job, [result_of(job)])
    content = bytearray(job.archive.read_bytes())
    content[len(content) // 2] ^= 1
    whole = job.archive.read_bytes()
    spoiled = {"cut": whole[:-1], "flipped": bytes(content), "emptied": b""}[damage]
    job.archive.write_bytes(spoiled)
    assert not is_current(job)
    with pytest.raises(ArchiveError, match=r"^runs/R07-01\.h5: is "):
        load_rows(job)


def test_rows_come_back_as_they_were(job: Job) -> None:
    result = result_of(job)
    write_archive(job, [result])
    (row,) = load_rows(job)
    assert row.steps is not None
    pd.testing.assert_frame_equal(row.steps, result.steps, check_exact=True)
    run = job.task.run
    distance = result.distances[run.id]
    about = (job.task.session.id, job.task.athlete, run)
    measured = Measured(result.steps, FLAGS, distance, result.uncertainty)
    expected = summarise_run(*about, measured)
    assert repr(row.summary) == repr(expected)  # as text, since a NaN equals nothing


def test_an_archive_of_other_work_is_refused(job: Job) -> None:
    write_archive(job, [result_of(job)])
    with pytest.raises(ArchiveError, match=r"runs/R07-01\.h5: is of other logs or settings"):
        load_rows(replace(job, fingerprint="0" * 64))


def test_each_run_of_a_long_log_has_its_row(job: Job) -> None:
    recording = job.task.session.read_run("R07-01")
    parts = [
        replace(
            fake_result(recording, fake_steps(count, run=f"R07-01_{k}")),
            run=f"R07-01_{k}",
        )
        for k, count in ((1, 6), (2, 8))
    ]
    flags = (RaisedFlag("no_standing_after", run="R07-01_1"), RaisedFlag("gap", run="R07-01_2"))
    flagged = [replace(part, flags=(flag,)) for part, flag in zip(parts, flags, strict=True)]
    refused = RunError("from 60.0 to 70.0 s: no sensor can be used")
    assert write_archive(job, [flagged[0], refused, flagged[1]]) == 14
    rows = load_rows(job)
    assert [row.summary.run for row in rows] == ["R07-01_1", "R07-01_2"]
    assert [row.task for row in rows] == ["R07-01", "R07-01"]
    assert [row.summary.counts["steps"] for row in rows] == [6, 8]
    assert [row.summary.flag_names() for row in rows] == [
        ["no_standing_after", "run_refused"],
        ["gap", "run_refused"],
    ]


@pytest.mark.parametrize(
    ("offset", "expected"),
    [
        (None, "2031-04-12T09:30:10.000"),
        (datetime.timedelta(hours=2), "2031-04-12T09:30:10.000+02:00"),
    ],
)
def test_a_run_has_its_time_of_day_where_the_log_counts_from_a_known_one(
    job: Job, offset: datetime.timedelta | None, expected: str
) -> None:
    zone = None if offset is None else datetime.timezone(offset)
    zero_at = datetime.datetime(2031, 4, 12, 9, 30, tzinfo=zone)
    result = result_of(job)  # its first touchdown is at 10 s
    recording = result.conditioned.recording
    logs = {site: replace(log, zero_at=zero_at) for site, log in recording.logs.items()}
    conditioned = replace(result.conditioned, recording=replace(recording, logs=logs))
    write_archive(job, [replace(result, conditioned=conditioned)])
    (row,) = load_rows(job)
    assert row.summary.start_time == expected
    assert row.summary.value("start_time") == expected
    write_archive(job, [result])
    assert load_rows(job)[0].summary.value("start_time") is None


@pytest.mark.parametrize("at", [0, 1, 5, 20])
def test_a_full_disk_leaves_nothing_and_names_the_file(
    job: Job, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    left = [at]
    write = Sink.write

    def full(self: Sink, data: memoryview) -> int:
        left[0] -= 1
        if left[0] < 0:
            self.error = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return write(self, data)

    monkeypatch.setattr(Sink, "write", full)
    expected = r"^runs/R07-01\.h5: cannot be written \(No space left on device\); free some space"
    with pytest.raises(ArchiveError, match=expected):
        write_archive(job, [result_of(job)])
    assert list(job.archive.parent.iterdir()) == []


def test_the_session_archive_holds_what_it_is_given(job: Job, tmp_path: Path) -> None:
    write_archive(job, [result_of(job)])
    join_archives(tmp_path, [job], {"id": "harbour-2031-04-12"})
    assert (tmp_path / "session.h5").stat().st_size > 1000
