"""What holds for every plot."""

import subprocess
import sys

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

import imuproc
from imuproc.core.errors import PlotError
from imuproc.core.result import Result
from imuproc.results.archive.reading import ArchivedRun, open_archive
from tests.archive.real_results import several_runs
from tests.guards.sources import REPO
from tests.plots.drawn import PLOTS, everything

KEPT = REPO / "tests" / "archive" / "kept" / "schema-1.h5"


@pytest.mark.parametrize("name", PLOTS)
def test_result_and_archive_give_the_same_picture(
    name: str, result: Result, archived: ArchivedRun
) -> None:
    drawn = [everything(PLOTS[name](run, Figure().add_subplot())) for run in (result, archived)]
    assert len(drawn[0]) == len(drawn[1]) > 2
    for one, other in zip(*drawn, strict=True):
        # Archives keep curves and signals in single precision (24 bits: IEEE 754).
        np.testing.assert_allclose(one, other, rtol=2.0**-22, atol=1e-4)


@pytest.mark.parametrize("name", PLOTS)
def test_axes_given_are_drawn_into_and_no_figure_is_opened(
    name: str, result: Result, axes: Axes
) -> None:
    assert PLOTS[name](result, axes) is axes
    assert plt.get_fignums() == []


@pytest.mark.parametrize("name", PLOTS)
def test_without_axes_a_figure_of_its_own_is_opened(name: str, result: Result) -> None:
    axes = PLOTS[name](result, None)
    assert axes.figure is plt.gcf()
    assert len(plt.get_fignums()) == 1


def test_with_axes_given_pyplot_is_not_even_loaded() -> None:
    code = (
        "import sys, imuproc\n"
        "from matplotlib.figure import Figure\n"
        f"with imuproc.open_archive({str(KEPT)!r}) as archive:\n"
        "    imuproc.plots.plot_contacts(archive.run('R07-01'), Figure().add_subplot())\n"
        "print('matplotlib.pyplot' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


@pytest.mark.parametrize("width", [3.6, 14.4])
@pytest.mark.parametrize("name", PLOTS)
def test_no_words_are_cut_off(name: str, width: float, result: Result) -> None:
    figure = Figure(figsize=(width, 0.75 * width), layout="constrained")
    axes = PLOTS[name](result, figure.add_subplot())
    FigureCanvasAgg(figure).draw()
    labels = [label for each in figure.axes for label in (each.xaxis.label, each.yaxis.label)]
    legend = axes.get_legend()
    assert legend
    for words in (legend, *(label for label in labels if label.get_text())):
        box = words.get_window_extent()
        assert box.x0 >= 0.0
        assert box.y0 >= 0.0
        assert box.x1 <= figure.bbox.x1 + 1.0
        assert box.y1 <= figure.bbox.y1 + 1.0


@pytest.mark.parametrize("name", PLOTS)
def test_a_run_that_failed_says_why(name: str, axes: Axes) -> None:
    with (
        open_archive(KEPT) as archive,
        pytest.raises(
            PlotError, match=r"run R07-02: could not be processed \(no sprint steps found\)"
        ),
    ):
        PLOTS[name](archive.run("R07-02"), axes)


def test_a_log_of_several_runs_names_them(axes: Axes) -> None:
    with pytest.raises(PlotError, match=r"holds several runs \(R07-02_1, R07-02_2\); plot one of"):
        PLOTS["contacts"](several_runs(), axes)
    assert PLOTS["contacts"](several_runs().parts[0], axes) is axes


def test_a_whole_archive_is_no_run(axes: Axes) -> None:
    with (
        open_archive(KEPT) as archive,
        pytest.raises(TypeError, match=r"as archive.run\('R07-01'\); found: Archive"),
    ):
        imuproc.plots.plot_contacts(archive, axes)  # type: ignore[arg-type]
