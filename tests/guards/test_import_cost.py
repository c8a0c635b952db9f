"""What loads when: lists of module names, not a stopwatch, so that any machine agrees."""

import subprocess
import sys

import pytest

# Top-level packages beyond the standard library that may be loaded.
NOTHING: set[str] = set()
COMMAND_LINE = {"typer", "click", "shellingham", "annotated_doc", "typing_extensions"}
# The parser of a sub-command's own options brings these along.
OPTIONS = {"pydantic", "pydantic_core", "annotated_types", "typing_inspection"}


def list_loaded_after(code: str) -> set[str]:
    """Top-level packages beyond the standard library that a piece of code loads."""
    probe = (
        "import sys\n"
        "before = {name.split('.')[0] for name in sys.modules}\n"
        f"{code}\n"
        "after = {name.split('.')[0] for name in sys.modules}\n"
        "print('loaded:', *sorted(after - before - set(sys.stdlib_module_names)))\n"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    line = next(line for line in done.stdout.splitlines() if line.startswith("loaded:"))
    return {name for name in line.split()[1:] if not name.startswith(("imuproc", "_sysconfigdata"))}


def format_command_code(*arguments: str) -> str:
    """Code that runs the command line and goes on after it."""
    return (
        f"sys.argv = ['imuproc', *{list(arguments)!r}]\n"
        "from imuproc.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass"
    )


def test_the_package_alone_loads_nothing_else() -> None:
    assert list_loaded_after("import imuproc") <= NOTHING


@pytest.mark.parametrize(
    ("arguments", "may_load"),
    [
        (["--help"], COMMAND_LINE),
        (["--version"], COMMAND_LINE),
        (["process", "--help"], COMMAND_LINE | OPTIONS),
        (["check", "--help"], COMMAND_LINE | OPTIONS),
    ],
)
def test_help_loads_the_command_line_only(arguments: list[str], may_load: set[str]) -> None:
    loaded = list_loaded_after(format_command_code(*arguments))
    assert "typer" in loaded  # the probe sees what is loaded
    assert loaded <= may_load


def test_the_method_loads_when_it_is_asked_for() -> None:
    assert {"numpy", "pandas"} <= list_loaded_after("import imuproc; imuproc.process")


def test_hdf5_loads_when_an_archive_is_opened() -> None:
    assert "h5py" in list_loaded_after("import imuproc; imuproc.open_archive")
    assert "h5py" not in list_loaded_after("import imuproc; imuproc.process")


def test_plots_load_matplotlib_when_one_is_drawn() -> None:
    assert "matplotlib" not in list_loaded_after("import imuproc; imuproc.plots.plot_contacts")


def test_reading_a_session_file_needs_no_scipy() -> None:
    assert "scipy" not in list_loaded_after("import imuproc; imuproc.read_session")


def test_the_method_loads_none_of_the_slow_parts_of_scipy() -> None:
    slow = ["scipy.signal", "scipy.ndimage", "scipy.interpolate", "scipy.stats", "scipy.optimize"]
    code = f"import sys, imuproc.batch.work; print([m for m in {slow} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
