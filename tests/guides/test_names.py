"""Every name in code font exists, and what users meet by name is explained."""

import dataclasses
import re
import typing
from collections.abc import Iterable, Iterator
from typing import Any

import click
import pytest
import typer
from pydantic import BaseModel

import imuproc
from imuproc.agreement.compare import PAIR_COLUMNS
from imuproc.assessment.targets import TargetsFile
from imuproc.batch.processed import Processed
from imuproc.cli.main import app
from imuproc.core.columns import COLUMNS, STEP_COLUMNS
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import is_serious
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Recording, SensorLog
from imuproc.core.result import Result
from imuproc.core.sites import SITES
from imuproc.core.uncertainty import PARTS
from imuproc.pipeline.settings import Settings
from imuproc.readers.logs.layout import Layout
from imuproc.readers.plan_file import ChangeEntry, PlanFile, RunsEntry, SensorsEntry
from imuproc.readers.references.layout import LAYOUTS
from imuproc.readers.session import Session
from imuproc.readers.session_model import AthleteEntry, RunEntry, SessionEntry, SessionFile
from imuproc.readers.study import StudyRun
from imuproc.readers.study_model import StudyEntry, StudyFile, StudyRunEntry
from imuproc.results.archive.reading import Archive, ArchivedRun, ArchivedSignals
from imuproc.results.columns import KEY_FIGURES, PHASE_COLUMNS, RUN_COLUMNS
from imuproc.results.summary import PhaseSummary, RunSummary
from tests.guards.sources import PACKAGE, REPO
from tests.guides.pages import block, pages

COMMANDS: dict[str, click.Command] = typer.main.get_command(app).commands  # type: ignore[attr-defined]


def keys_of(model: Any) -> Iterator[str]:
    """Keys of a model or a settings class, and of those within it."""
    if isinstance(model, type) and issubclass(model, BaseModel):
        inner = {name: field.annotation for name, field in model.model_fields.items()}
    elif isinstance(model, type) and dataclasses.is_dataclass(model):
        inner = typing.get_type_hints(model)
    else:
        for part in typing.get_args(model):
            yield from keys_of(part)
        return
    for name, kind in inner.items():
        yield name
        yield from keys_of(kind)


def words_of(*paths: str) -> set[str]:
    """Names in modules that say them without a list."""
    return {w for path in paths for w in re.findall(r"\w+", (PACKAGE / path).read_text("utf-8"))}


def known() -> set[str]:
    models = (SessionFile, StudyFile, *LAYOUTS.values(), PlanFile, TargetsFile, Settings)
    of_python = (Result, RaisedFlag, Recording, SensorLog, Session, StudyRun, Archive, ArchivedRun)
    of_sessions = (imuproc.SessionOptions, Processed, RunSummary, PhaseSummary)
    return {
        *STEP_COLUMNS,
        *RUN_COLUMNS,
        *PHASE_COLUMNS,
        *FLAGS,
        *PARTS,
        *SITES,
        *PAIR_COLUMNS,
        *(key for model in models for key in keys_of(model)),
        *(
            name
            for kind in (*of_python, *of_sessions, ArchivedSignals)
            for name in (*kind.__dict__, *_fields(kind))
        ),
        *imuproc.__all__,
        *imuproc.plots.__all__,
        *(path.name for path in REPO.iterdir()),
        *words_of("readers/logs/hdf5/logs.py", "agreement/summing.py"),
    }


def _fields(kind: type) -> list[str]:
    return [f.name for f in dataclasses.fields(kind)] if dataclasses.is_dataclass(kind) else []


@pytest.mark.parametrize("name", pages())
def test_every_name_in_code_font_exists(name: str) -> None:
    said = {word for word in pages()[name].code if re.fullmatch(r"[a-z]+(_[a-z0-9]+)+", word)}
    assert said <= known()


def test_the_look_at_names_sees_one_that_does_not_exist() -> None:
    assert not {"contact_time_ms", "toe_of_s"} & known()


def code_in_rows(page: str, heading: str = "") -> set[str]:
    """What stands in code font in the first cells of a page's tables, or of one of them."""
    of_page = pages()[page]
    rows = dataclasses.replace(of_page, text=of_page.section(heading)) if heading else of_page
    return {word for row in rows.rows for word in re.findall(r"`([^`]+)`", row[0])}


def test_every_column_of_the_step_table_is_explained() -> None:
    said = code_in_rows("figures", "## Columns of the step table")
    assert said == {column.name for column in COLUMNS}


@pytest.mark.parametrize(
    ("heading", "columns"),
    [("## The run table", RUN_COLUMNS), ("## The phase table", PHASE_COLUMNS)],
)
def test_every_column_that_sums_up_is_explained(heading: str, columns: Iterable[str]) -> None:
    """Those of contact time stand for those of the other figures, which are named."""
    others = "|".join({figure.rsplit("_", 1)[0] for figure in KEY_FIGURES} - {"contact_time"})
    alike = re.compile(rf"(mean|sd|n|left_minus_right|symmetry|symmetry_angle)_({others})(_|$)")
    assert code_in_rows("figures", heading) == {name for name in columns if not alike.match(name)}
    named = re.findall(r"`(\w+)`", pages()["figures"].section("## The run table"))
    assert set(KEY_FIGURES) <= set(named)


def test_every_option_and_attribute_of_a_session_in_python_is_explained() -> None:
    section = pages()["python"].section("## A whole session")
    said = set(re.findall(r"`(\w+)`", section))
    assert {field.name for field in dataclasses.fields(imuproc.SessionOptions)} <= said
    assert {"steps", "runs", "phases", "failed", "outcomes", "folder", "files"} <= said


@pytest.mark.parametrize(
    "heading", ["### What an uncertainty is made up of", "## How sure a mean is"]
)
def test_every_part_of_an_uncertainty_is_explained(heading: str) -> None:
    assert code_in_rows("figures", heading) == set(PARTS)


def test_every_flag_is_explained_and_serious_ones_are_marked() -> None:
    rows = [row[0] for row in pages()["flags"].rows]
    assert all(re.fullmatch(r"`\w+`( \*\*!\*\*)?", cell) for cell in rows)
    marked = {cell.split("`")[1]: cell.endswith("**!**") for cell in rows}
    assert len(marked) == len(rows)
    assert marked == {name: is_serious(name) for name in FLAGS}


@pytest.mark.parametrize(
    ("page", "heading", "model"),
    [
        ("session", "## The session", SessionEntry),
        ("session", "## Athletes", AthleteEntry),
        ("session", "## Runs", RunEntry),
        ("formats", "## Layout keys", Layout),
        ("planning", "## The plan file", SensorsEntry),
        ("planning", "## The plan file", RunsEntry),
        ("planning", "## The plan file", ChangeEntry),
        ("agreement", "## The study file", StudyEntry),
        ("agreement", "## The study file", StudyRunEntry),
    ],
)
def test_every_key_is_explained(page: str, heading: str, model: type[BaseModel]) -> None:
    assert set(model.model_fields) <= code_in_rows(page, heading)


def test_every_key_of_a_references_layout_is_named() -> None:
    section = pages()["agreement"].section("### Layouts of references")
    named = {
        word for code in re.findall(r"`([^`]+)`", section) for word in re.findall(r"\w+", code)
    }
    for format_name, model in LAYOUTS.items():
        assert set(model.model_fields) - {"format"} <= named, format_name


def test_every_key_of_a_target_is_shown() -> None:
    shown = block("report", "toml", "[[set.band]]")
    assert set(keys_of(TargetsFile)) <= set(re.findall(r"\w+", shown))


# --- Commands and options -------------------------------------------------------------------------

OPTION = re.compile(r"(?<!\S)--[a-z][a-z-]*")

EXPLAINED_IN = {
    "agree": "agreement",
    "check": "recording",
    "compare": "report",
    "convert": "formats",
    "process": "processing",
    "report": "processing",
    "simulate": "planning",
    "squad": "report",
}


def options_of(command: click.Command) -> set[str]:
    """Long names of a command's options; each has one."""
    options = [param for param in command.params if param.param_type_name == "option"]
    names = {name for option in options for name in option.opts}
    return {name for name in names if name.startswith("--")}


def test_every_command_is_in_the_table_of_commands() -> None:
    told = code_in_rows("processing", "## All commands")
    assert told == {f"imuproc {name}" for name in COMMANDS}


@pytest.mark.parametrize("command", COMMANDS)
def test_every_option_is_explained(command: str) -> None:
    page = pages()[EXPLAINED_IN.get(command, "processing")]
    shown = [*page.code, *(part.text for part in page.blocks if part.language == "sh")]
    said = {option for code in shown for option in OPTION.findall(code)}
    assert options_of(COMMANDS[command]) - {"--help"} <= said


def options_of_scripts() -> set[str]:
    sources = [path.read_text("utf-8") for path in (REPO / "scripts").rglob("*.py")]
    return {option for source in sources for option in re.findall(r'"(--[a-z-]+)"', source)}


def test_every_option_that_a_page_names_exists() -> None:
    every = {option for command in COMMANDS.values() for option in options_of(command)}
    every |= options_of_scripts() | {"--nthreads"}  # of Dask's own command
    assert {"--jobs", "--real"} <= every
    for page in pages().values():
        for code in page.code:
            command = COMMANDS.get(code.removeprefix("imuproc ").split()[0])
            is_ours = code.startswith("imuproc ") and command is not None
            allowed = options_of(command) | {"--help"} if is_ours else every
            assert set(OPTION.findall(code)) <= allowed, f"{page.name}: {code}"


def test_every_command_that_a_page_names_exists() -> None:
    for page in pages().values():
        for code in page.code:
            words = code.split()
            if words[0] == "imuproc" and len(words) > 1:
                assert words[1] in (*COMMANDS, "COMMAND", "--help"), f"{page.name}: {code}"
