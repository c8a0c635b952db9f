"""What README and guides show runs: commands, settings files and code, on a part of the samples."""

import re
import shlex
import shutil
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import pandas as pd
import pytest
from pydantic import TypeAdapter

import imuproc
from imuproc.assessment.targets import read_targets
from imuproc.pipeline.settings import read_settings
from imuproc.readers.logs.layout import Layout
from imuproc.readers.plan_file import read_plan
from tests.cli.command import called_once
from tests.guards.sources import REPO
from tests.guides.pages import Block, block, blocks, pages

SAMPLES = REPO / "data_samples"
RUN = "R07-01"
"""The run of the samples that the examples work on: the shortest one."""

ELSEWHERE = ("dask scheduler", "dask worker", "--cluster")
"""Parts of commands that need other machines; tests/batch works with a scheduler of its own."""


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder as a reader has it: samples, session, study and plan of the guides, results."""
    folder = tmp_path_factory.mktemp("desk")
    for place in (folder, folder / "data_samples"):
        part_of_samples(place)
    (folder / "layout.toml").write_text((folder / "session.toml").read_text("utf-8"), "utf-8")
    study = block("agreement", "toml", "[study]")
    study = study.replace("[study]", '[study]\nfigures = ["contact_time_s"]')  # fewer pictures
    (folder / "study.toml").write_text(study, "utf-8")
    film(folder / "video" / f"{RUN}.csv")
    (folder / "plan.toml").write_text(smaller(block("planning", "toml", "[[change]]")), "utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("MPLBACKEND", "Agg")  # no windows
        done = called_once("process", "session.toml", "-o", "out", "--jobs", "1", "--quiet")
        assert done.code == 0, done.err
        yield folder


def part_of_samples(folder: Path) -> None:
    """The session file of the samples with one of its runs, and that run's logs."""
    head, *runs = (SAMPLES / "session.toml").read_text("utf-8").split("[[run]]")
    [kept] = [run for run in runs if f'id = "{RUN}"' in run]
    (folder / "logs").mkdir(parents=True)
    (folder / "session.toml").write_text("[[run]]".join([head, kept]), "utf-8")
    for log in (SAMPLES / "logs").glob(f"{RUN}_*"):
        shutil.copy(log, folder / "logs")


def smaller(plan: str) -> str:
    """A plan that takes a tenth of the time."""
    for key, value in {"athletes": 1, "distance_m": 10, "rate_hz": 200}.items():
        plan, changed = re.subn(rf"^{key} = \d+", f"{key} = {value}", plan, flags=re.MULTILINE)
        assert changed == 1
    return plan


def film(path: Path) -> None:
    """What someone would note of a film of the first run, at the frame rate of the guide."""
    truth = pd.read_csv(SAMPLES / "truth" / f"{RUN}_steps.csv").dropna(subset="toe_off_s")
    rate = tomllib.loads(block("agreement", "toml", "[study]"))["layout"]["phone"]["frame_rate_hz"]
    first_s = truth["touchdown_s"].iloc[0] - 1.0
    frames = {
        "foot": truth["side"],
        "on": ((truth["touchdown_s"] - first_s) * rate).round().astype(int),
        "off": ((truth["toe_off_s"] - first_s) * rate).round().astype(int),
    }
    path.parent.mkdir()
    pd.DataFrame(frames).to_csv(path, index=False)


def lines() -> list[str]:
    """Every command line in a fenced block, once."""
    found = [line for part in blocks("sh") for line in part.text.splitlines() if line]
    return list(dict.fromkeys(found))


def test_commands_stand_in_blocks_that_say_so() -> None:
    languages = {part.language for page in pages().values() for part in page.blocks}
    assert languages <= {"sh", "toml", "python", "csv"}
    assert len(lines()) > 10


OURS = [line for line in lines() if line.startswith("imuproc ")]


@pytest.mark.parametrize("line", [line for line in OURS if not any(e in line for e in ELSEWHERE)])
def test_our_commands_run(desk: Path, line: str) -> None:
    arguments = shlex.split(line)[1:]
    if arguments[0] in ("process", "report") and "--jobs" not in arguments:
        arguments += ["--jobs", "1"]  # gives the same, without starting workers
    done = called_once(*arguments)
    assert done.code == 0, done.err


@pytest.mark.parametrize("line", [line for line in lines() if line not in OURS])
def test_other_commands_are_there(line: str) -> None:
    words = shlex.split(line)
    if words[0] == "python":
        source = (REPO / words[1]).read_text("utf-8")
        named = [word for word in words[2:] if not word.isdigit()]
        assert [word for word in named if f'"{word}"' not in source] == []
    elif words[:2] == ["pip", "install"]:
        extra = words[2].split("[")[1].rstrip("]")
        project = tomllib.loads((REPO / "pyproject.toml").read_text("utf-8"))["project"]
        assert extra in project["optional-dependencies"]
    else:
        assert any(line.startswith(command) for command in ELSEWHERE)


@pytest.mark.parametrize("page", sorted({part.page for part in blocks("python")}))
def test_code_runs(desk: Path, page: str) -> None:
    names: dict[str, object] = {}
    for part in blocks("python"):
        if part.page == page:
            exec(compile(part.text, f"{page}.md", "exec"), names)


# --- Settings files of every kind -----------------------------------------------------------------


def as_session(path: Path) -> None:
    for name in tomllib.loads(path.read_text("utf-8"))["run"][0]["logs"].values():
        log = path.parent / name
        log.parent.mkdir(exist_ok=True)
        log.write_text("", encoding="utf-8")
    assert [run.id for run in imuproc.read_session(path).runs] == ["R07-01"]


def as_study(path: Path) -> None:
    (path.parent / "out").mkdir()
    (path.parent / "out" / "steps.csv").write_text("run\n", encoding="utf-8")
    (path.parent / "video").mkdir()
    contacts = block("agreement", "csv")
    (path.parent / "video" / "R07-01.csv").write_text(contacts, encoding="utf-8")
    [run] = imuproc.read_study(path).runs
    assert list(run.read_reference().side) == ["left", "right", "left"]


def as_plan(path: Path) -> None:
    assert [change.figure for change in read_plan(path).change] == ["contact_time_s"]


def as_targets(path: Path) -> None:
    assert set(read_targets(path)) == {"default", "juniors"}


def as_layouts(path: Path) -> None:
    content = tomllib.loads(path.read_text("utf-8"))
    assert list(content) == ["layout"]
    for layout in content["layout"].values():
        TypeAdapter(Layout).validate_python(layout)


def as_settings(path: Path) -> None:
    assert read_settings(path) != imuproc.Settings()


KINDS: dict[str, Callable[[Path], None]] = {
    "session": as_session,
    "study": as_study,
    "sensors": as_plan,
    "set": as_targets,
    "layout": as_layouts,
}
"""What a file is, by a table that it has; one without any of them is of settings."""


@pytest.mark.parametrize("shown", blocks("toml"), ids=lambda shown: shown.page)
def test_the_file_shown_is_accepted(tmp_path: Path, shown: Block) -> None:
    path = tmp_path / "shown.toml"
    path.write_text(shown.text, encoding="utf-8")
    content = tomllib.loads(shown.text)
    kind = next((kind for table, kind in KINDS.items() if table in content), as_settings)
    kind(path)
