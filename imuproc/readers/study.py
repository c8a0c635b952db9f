"""The study file: which runs are held against which references."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import nan
from os import PathLike
from pathlib import Path, PureWindowsPath
from typing import Any, Final

from pydantic import ValidationError

from imuproc.core.reference import Reference
from imuproc.core.sites import SIDES, Side
from imuproc.files.toml_reading import (
    Problem,
    load_toml,
    make_problem,
    make_session_error,
    strip_schema,
    to_problems,
)
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.readers.references.layout import C3dLayout, ReferenceLayout, check_layout
from imuproc.readers.references.registry import read_reference
from imuproc.readers.references.request import ReferenceRequest
from imuproc.readers.study_model import SCHEMA, StudyFile, StudyRunEntry

STEPS: Final = "steps.csv"


@dataclass(frozen=True)
class Instant:
    """One instant seen by both clocks.

    Parameters
    ----------
    table_s, reference_s : float
        Its time in the step table and on the reference's clock, in s.
    u_s : float
        Standard uncertainty of their difference in s.
    """

    table_s: float
    reference_s: float
    u_s: float


@dataclass(frozen=True)
class StudyRun:
    """One run and what it is held against.

    Parameters
    ----------
    id : str
        Run id as in the column ``run`` of the results.
    results : Path
        Folder that ``imuproc process`` wrote.
    results_source : str
        That folder as the study file names it.
    request : ReferenceRequest
        The reference to read.
    window_s : float
        Events farther apart than this are not the same, in s.
    sides : tuple of Side
        Sides that the reference looks at.
    instant : Instant or None
        What ties the clocks together; None where the events do.
    note : str or None
        Free text of the user.
    """

    id: str
    results: Path
    results_source: str
    request: ReferenceRequest
    window_s: float
    sides: tuple[Side, ...] = SIDES
    instant: Instant | None = None
    note: str | None = None

    def read_reference(self) -> Reference:
        """Read the reference.

        Raises
        ------
        LogError
            It cannot be read; the other runs are not concerned.
        """
        return read_reference(self.request)


@dataclass(frozen=True, eq=False)
class Study:
    """A study file that has been checked; results and references are read when asked for.

    Parameters
    ----------
    path : Path
        The study file as it was given.
    id : str
    runs : tuple of StudyRun
        In the order of the file; a run is there once for each of its references.
    figures : tuple of str or None
        Figures to compare; None for all that both have.
    note : str or None
        Free text of the user.
    """

    path: Path
    id: str
    runs: tuple[StudyRun, ...] = field(repr=False)
    figures: tuple[str, ...] | None = None
    note: str | None = None


def read_study(path: str | PathLike[str]) -> Study:
    """Read and check a study file; references are not opened yet.

    Parameters
    ----------
    path : str or path
        A TOML file, UTF-8.

    Returns
    -------
    Study

    Raises
    ------
    SessionError
        The file cannot be read or says something that is not allowed. The text has a line for
        each problem: file, key (lists count from 1), what was found, what is allowed.

    Examples
    --------
    >>> import imuproc, tempfile
    >>> from pathlib import Path
    >>> text = '''
    ... schema = 1
    ... [study]
    ... id = "indoor-2031"
    ... [layout.bars]
    ... format = "photocells"
    ... unit = "ms"
    ... side = "unknown"
    ... columns = { contact_time = "tc" }
    ... [[run]]
    ... id = "R07-01"
    ... results = "out"
    ... reference = "bars.csv"
    ... layout = "bars"
    ... '''
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     for name in ("out/steps.csv", "bars.csv"):
    ...         Path(folder, name).parent.mkdir(exist_ok=True)
    ...         _ = Path(folder, name).write_text("tc")
    ...     _ = Path(folder, "study.toml").write_text(text)
    ...     study = imuproc.read_study(Path(folder, "study.toml"))
    >>> study.runs[0].id
    'R07-01'
    """
    path = Path(path)
    content = load_toml(path)
    file, layouts = _check_tables(path, content)
    problems = _find_cross_problems(file, layouts)
    if problems:
        raise make_session_error(path, problems, content)
    runs, problems = [], []
    for index in range(len(file.run)):
        run, wrong = _check_study_run(file, index, layouts, path.parent)
        runs.append(run)
        problems += wrong
    if problems:
        raise make_session_error(path, problems, content)
    figures = file.study.figures
    return Study(
        path=path,
        id=file.study.id,
        runs=tuple(run for run in runs if run is not None),
        figures=None if figures is None else tuple(figures),
        note=file.study.note,
    )


def _check_tables(
    path: Path, content: dict[str, Any]
) -> tuple[StudyFile, dict[str, ReferenceLayout]]:
    tables = strip_schema(path, content, SCHEMA)
    problems: list[Problem] = []
    try:
        file = StudyFile.model_validate(tables)
    except ValidationError as error:
        problems, file = to_problems(error, StudyFile), None
    layouts: dict[str, ReferenceLayout] = {}
    named = content.get("layout")
    for name, value in named.items() if isinstance(named, dict) else ():
        layout, wrong = check_layout(name, value)
        problems += wrong
        if layout is not None:
            layouts[name] = layout
    if problems or file is None:
        raise make_session_error(path, problems, content)
    return file, layouts


def _find_cross_problems(file: StudyFile, layouts: Mapping[str, ReferenceLayout]) -> list[Problem]:
    """Runs that name a layout that is not there, or hold what does not belong together."""
    problems: list[Problem] = []
    seen: set[tuple[str, str, str]] = set()
    for index, run in enumerate(file.run):
        place = ("run", index)
        layout = layouts.get(run.layout)
        if layout is None:
            allowed = quote_all(layouts) + suggest_word(run.layout, layouts)
            problems.append(
                make_problem((*place, "layout"), f"the text {quote(run.layout)}", allowed)
            )
        elif run.standing is not None and not isinstance(layout, C3dLayout):
            text = f"a standing trial with format {quote(layout.format)}"
            problems.append(make_problem((*place, "standing"), text, "only with format 'c3d'"))
        elif run.instant is not None and layout.format == "photocells":
            text = "an instant with format 'photocells', which has no clock"
            problems.append(make_problem((*place, "instant"), text, "none"))
        key = (run.results, run.id, run.reference)
        if key in seen:
            text = f"the run {quote(run.id)} with the reference {quote(run.reference)} again"
            problems.append(make_problem((*place, "id"), text, "each pair once"))
        seen.add(key)
    return problems


def _check_study_run(
    file: StudyFile, index: int, layouts: Mapping[str, ReferenceLayout], folder: Path
) -> tuple[StudyRun | None, list[Problem]]:
    run = file.run[index]
    problems: list[Problem] = []
    paths: dict[str, Path] = {}
    for key in ("results", "reference", "standing"):
        name = getattr(run, key)
        if name is not None:
            why = _explain_bad_path(name)
            if why:
                problems.append(make_problem(("run", index, key), f"the path {quote(name)}", why))
            paths[key] = folder / name
    if not problems and not (paths["results"] / STEPS).is_file():
        text = f"no {STEPS} in the folder {quote(run.results)}"
        allowed = "the folder that imuproc process wrote its results to"
        problems.append(make_problem(("run", index, "results"), text, allowed))
    if problems:
        return None, problems
    request = ReferenceRequest(
        path=paths["reference"],
        source=run.reference,
        layout=layouts[run.layout],
        covers_s=run.covers_s or (nan, nan),
        standing=paths.get("standing"),
        standing_source=run.standing or "",
    )
    return _make_study_run(file, run, paths["results"], request), []


def _make_study_run(
    file: StudyFile, run: StudyRunEntry, results: Path, request: ReferenceRequest
) -> StudyRun:
    stated = run.instant
    return StudyRun(
        id=run.id,
        results=results,
        results_source=run.results,
        request=request,
        window_s=run.window_s or file.study.window_s,
        sides=tuple(side for side in SIDES if side in (run.sides or SIDES)),
        instant=(
            None if stated is None else Instant(stated.table_s, stated.reference_s, stated.u_s)
        ),
        note=run.note,
    )


def _explain_bad_path(name: str) -> str:
    """What is allowed instead of a path; empty where it is well.

    Other than logs, results may lie beside the study's folder: they come from sessions elsewhere.
    """
    if "\\" in name:
        return "a path with / between folders"
    if any(character < " " or character == "\x7f" for character in name):
        return "a path without control characters"
    if Path(name).is_absolute() or PureWindowsPath(name).drive:
        return "a path from the study file's folder"
    return ""
