"""BIDS data sets as the BIDS project's own validator sees them."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from imuproc.convert.work import convert
from imuproc.readers.session import read_session
from tests.convert.test_work import DATED
from tests.readers.samples import write_session

VALIDATOR = shutil.which("bids-validator-deno") or shutil.which(
    str(Path(sys.executable).parent / "bids-validator-deno")
)

# What a converted session cannot know: who made it, licences, makers of sensors, events.
EXPECTED = {
    *("SIDECAR_KEY_RECOMMENDED", "JSON_KEY_RECOMMENDED", "EVENTS_TSV_MISSING"),
    *("TOO_FEW_AUTHORS", "NO_AUTHORS"),
}


@pytest.fixture(scope="module")
def dataset(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bids")
    session = read_session(write_session(folder / "in", DATED))
    convert(session, "bids-motion", folder / "out")
    return folder / "out"


def issues(folder):
    """Codes of errors and of warnings."""
    if VALIDATOR is None:
        pytest.skip("the BIDS validator is not installed: pip install bids-validator-deno")
    done = subprocess.run(
        [VALIDATOR, "--format", "json", "--max-rows", "-1", str(folder)],
        capture_output=True,
        check=False,
        timeout=120,
    )
    found = json.loads(done.stdout)["issues"]["issues"]
    return tuple(
        {issue["code"] for issue in found if issue["severity"] == severity}
        for severity in ("error", "warning")
    )


def test_the_validator_finds_no_error_and_no_warning_of_ours(dataset):
    errors, warnings = issues(dataset)
    assert errors == set()
    assert warnings <= EXPECTED


def test_the_validator_would_see_a_wrong_channel(dataset, tmp_path):
    broken = tmp_path / "broken"
    shutil.copytree(dataset, broken)
    for path in broken.rglob("*_channels.tsv"):
        path.write_text(path.read_text().replace("\tACCEL\t", "\tSPEED\t"))
    assert issues(broken)[0]


def test_files_and_fields(dataset):
    """Names as in the BIDS specification 1.10, part Motion."""
    motion = dataset / "sub-R07/ses-harbour20310412/motion"
    stem = "sub-R07_ses-harbour20310412_task-running_tracksys-leftshank_run-1"
    lines = (motion / f"{stem}_channels.tsv").read_text().splitlines()
    channels = [line.split("\t") for line in lines]
    assert channels[0][:5] == ["name", "component", "type", "tracked_point", "units"]
    assert [row[2] for row in channels[1:]] == ["LATENCY", "MISC", *["ACCEL"] * 3, *["GYRO"] * 3]
    first = (motion / f"{stem}_motion.tsv").read_text().splitlines()[0].split("\t")
    assert len(first) == len(channels) - 1
    assert first[0] == "0.000000"  # seconds with up to six decimals, from the first sample
    metadata = json.loads((motion / f"{stem}_motion.json").read_text())
    assert metadata["SamplingFrequency"] == 100.0
    assert metadata["TaskName"] == "running"
    scans = (motion.parent / "sub-R07_ses-harbour20310412_scans.tsv").read_text().splitlines()
    assert scans[0].split("\t") == ["filename", "acq_time", "run_id"]
    assert f"motion/{stem}_motion.tsv\t2031-04-12T07:30:00.000000Z\tR07-01" in scans
