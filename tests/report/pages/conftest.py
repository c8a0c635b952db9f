from collections.abc import Mapping
from pathlib import Path

import pytest

from imuproc.assessment.targets import read_targets
from imuproc.report.pages.view import RunView, read_view
from imuproc.results.archive.reading import open_archive
from tests.report.pages.made_report import archived_folder, reported_folder


@pytest.fixture(scope="session")
def results() -> Path:
    """A folder of results with runs of every kind, and its report; not to be changed."""
    return reported_folder()


@pytest.fixture(scope="session")
def views() -> Mapping[str, RunView]:
    """Its runs as pages need them, by id."""
    sets = read_targets()
    with open_archive(archived_folder() / "session.h5") as archive:
        return {
            run_id: read_view(archive.run(run_id), archive.session, sets) for run_id in archive.runs
        }
