from collections.abc import Iterator
from pathlib import Path

import matplotlib as mpl
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from imuproc.core.result import Result
from imuproc.results.archive.reading import ArchivedRun, open_archive
from imuproc.results.archive.writing import write_run_archive
from tests.archive.made_archives import provenance
from tests.archive.real_results import real_result


@pytest.fixture(autouse=True)
def no_window(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Figures that a plot makes for itself need no screen, and are gone after the test."""
    monkeypatch.setenv("MPLBACKEND", "agg")
    mpl.use("agg")
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


@pytest.fixture(scope="session")
def result() -> Result:
    """A simulated sprint of 20 m."""
    return real_result()


@pytest.fixture(scope="session")
def archived(result: Result, tmp_path_factory: pytest.TempPathFactory) -> Iterator[ArchivedRun]:
    """The same run, in an open archive."""
    path: Path = tmp_path_factory.mktemp("plots") / "R07-01.h5"
    write_run_archive(path, result, provenance(result.run))
    with open_archive(path) as archive:
        yield archive.run(result.run)


@pytest.fixture
def axes() -> Axes:
    """Axes of a figure that pyplot knows nothing of."""
    return Figure().add_subplot()
