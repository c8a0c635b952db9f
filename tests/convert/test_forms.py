"""Whatever a log holds, it is the same after writing and reading it again."""

import datetime
import tempfile
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as st_np

from imuproc.convert.form import Target
from imuproc.convert.work import FORMS
from imuproc.core.errors import LogError
from imuproc.core.recording import Run, SensorLog
from imuproc.readers.logs.layout import Layout
from imuproc.readers.logs.registry import read_log, recognise_format, stream_log
from imuproc.readers.logs.request import LogRequest
from tests.convert.bits import assert_same_bits, assert_same_log

NUMBERS = st.floats(-1e15, 1e15) | st.just(float("nan"))  # larger ones count as missing when read
STAMPS = st.floats(-1e12, 1e12) | st.just(float("nan"))
RANGES = st.none() | st.floats(1e-3, 1e6)
ZONES = st.none() | st.integers(-14 * 60, 14 * 60).map(
    lambda minutes: datetime.timezone(datetime.timedelta(minutes=minutes))
)
INSTANTS = st.none() | st.datetimes(
    datetime.datetime(1925, 1, 1), datetime.datetime(2200, 1, 1), timezones=ZONES
)


@st.composite
def logs(draw):
    n = draw(st.integers(2, 12))
    stamps = draw(st_np.arrays(np.float64, n, elements=STAMPS))
    stamps[draw(st.integers(0, n - 1))] = draw(st.floats(-1e12, 1e12))
    signals = [draw(st_np.arrays(np.float64, (n, 3), elements=NUMBERS)) for _ in range(2)]
    return SensorLog(
        "left_foot", stamps, *signals, "logs/a.csv", draw(RANGES), draw(RANGES), draw(INSTANTS)
    )


def target_in(form, log):
    ending = {"bids-motion": "_motion.tsv", "hdf5": ".h5", "parquet": ".parquet"}[form]
    name = f"logs/sub-R07_task-running_tracksys-leftfoot_run-1{ending}"
    return Target(Run("R07-01"), "R07", log.site, name)


def pieces_of(log, rows):
    for start in range(0, len(log.time_s), rows):
        yield log.take(slice(start, start + rows))


def written(form, folder, log, rows=5):
    """The request that reads what a form makes of a log."""
    writer, target = import_module(FORMS[form]), target_in(form, log)
    facts = writer.write_log(folder, target, pieces_of(log, rows))
    layouts, names = writer.build_layouts([(target, facts)])
    layout = Layout.model_validate(layouts[names[0]])
    return LogRequest(log.site, folder / target.file, target.file, layout)


@pytest.mark.parametrize("form", FORMS)
@given(log=logs())
@settings(max_examples=60, deadline=None)
def test_nothing_is_lost(form, log):
    with tempfile.TemporaryDirectory() as folder:
        request = written(form, Path(folder), log)
        assert recognise_format(request.path) == form
        assert_same_log(read_log(request), log)
        pieces = [piece.time_s for piece in stream_log(request, 3)]
        assert_same_bits(np.concatenate(pieces), log.time_s)


def sample(n=100):
    rng = np.random.default_rng(5)
    return SensorLog(
        "left_foot",
        np.arange(n) / 500.0,
        rng.normal(size=(n, 3)),
        rng.normal(size=(n, 3)),
        "a.csv",
        313.8,
    )


@pytest.mark.parametrize("form", FORMS)
def test_the_same_log_gives_the_same_bytes_however_it_came(form, tmp_path):
    paths = []
    for rows in (7, 100):
        (tmp_path / str(rows)).mkdir()
        paths.append(written(form, tmp_path / str(rows), sample(), rows).path)
    if form == "parquet":
        pytest.skip("a piece is a row group there")
    assert paths[0].read_bytes() == paths[1].read_bytes()


@pytest.mark.parametrize("form", FORMS)
def test_a_log_that_breaks_off_leaves_nothing(form, tmp_path):
    def broken():
        yield from pieces_of(sample(), 50)
        raise LogError("line 99: found 3 cells")

    with pytest.raises(LogError, match="line 99"):
        import_module(FORMS[form]).write_log(tmp_path, target_in(form, sample()), broken())
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


@pytest.mark.parametrize("form", FORMS)
def test_what_is_known_of_a_log(form, tmp_path):
    stamps = 5.0 + np.arange(100) / 500.0
    stamps[[0, 50]] = np.nan
    log = SensorLog("left_foot", stamps, np.ones((100, 3)), np.ones((100, 3)), "a.csv", 313.8)
    writer = import_module(FORMS[form])
    facts = writer.write_log(tmp_path, target_in(form, log), pieces_of(log, 30))
    assert (facts.n, facts.first_s, facts.last_s) == (100, stamps[1], stamps[-1])
    assert facts.rate_hz == 500.0
    assert (facts.accel_range_mps2, facts.gyro_range_radps) == (313.8, None)
