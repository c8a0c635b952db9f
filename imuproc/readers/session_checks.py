"""Checks of a session file that need more than one key, or the disk."""

from collections.abc import Iterator
from pathlib import Path, PureWindowsPath

from imuproc.files.toml_reading import Problem, make_problem
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.readers.logs.request import LogRequest
from imuproc.readers.session_model import RunEntry, SessionFile


def find_cross_problems(file: SessionFile) -> list[Problem]:
    """What is wrong between tables: ids used twice, runs that name what is not there."""
    problems = [
        *_find_repeated_ids("athlete", [athlete.id for athlete in file.athlete]),
        *_find_repeated_ids("run", [run.id for run in file.run]),
    ]
    athletes = [athlete.id for athlete in file.athlete]
    for index, run in enumerate(file.run):
        if run.athlete not in athletes:
            problems.append(_report_unknown(("run", index, "athlete"), run.athlete, athletes))
        if run.belt_speed_mps is not None and file.session.surface != "treadmill":
            loc = ("run", index, "belt_speed_mps")
            surface = f"a belt speed on surface {quote(file.session.surface)}"
            problems.append(make_problem(loc, surface, "only on surface 'treadmill'"))
        problems.extend(_find_layout_problems(file, index, run))
    return problems


def _find_repeated_ids(table: str, ids: list[str]) -> Iterator[Problem]:
    first: dict[str, str] = {}
    for index, name in enumerate(ids):
        earlier = first.setdefault(name.casefold(), name)
        if index != ids.index(name) or earlier != name:
            allowed = f"ids that differ by more than case (there is {quote(earlier)} already)"
            yield make_problem((table, index, "id"), f"the id {quote(name)} again", allowed)


def _report_unknown(loc: tuple[str | int, ...], name: str, known: list[str]) -> Problem:
    return make_problem(
        loc, f"the text {quote(name)}", quote_all(known) + suggest_word(name, known)
    )


def _find_layout_problems(file: SessionFile, index: int, run: RunEntry) -> Iterator[Problem]:
    layouts = list(file.layout)
    if run.layout is not None and run.layout not in layouts:
        yield _report_unknown(("run", index, "layout"), run.layout, layouts)
    for site, entry in run.logs.items():
        if entry.layout is not None and entry.layout not in layouts:
            yield _report_unknown(("run", index, "logs", site, "layout"), entry.layout, layouts)
        elif entry.layout is None and run.layout is None:
            text = (
                f"this key is missing (the log of {site} needs it); allowed: {quote_all(layouts)}"
            )
            yield Problem(("run", index, "layout"), text)
            return


def build_log_requests(
    file: SessionFile, index: int, folder: Path
) -> tuple[tuple[LogRequest, ...], list[Problem]]:
    """A run's logs to read, in the order of the file, and what is wrong with them.

    Parameters
    ----------
    file : SessionFile
        With no cross problems.
    index : int
        Which run, from 0.
    folder : Path
        The session file's folder, links resolved; no log may lie outside it.
    """
    requests: list[LogRequest] = []
    problems: list[Problem] = []
    run = file.run[index]
    for site, entry in run.logs.items():
        loc = ("run", index, "logs", site)
        layout = file.layout[entry.layout or run.layout or ""]
        path = _resolve_inside(folder, entry.file)
        if isinstance(path, str):
            problems.append(make_problem(loc, f"the path {quote(entry.file)}", path))
            continue
        # In XDF it names a stream, whose channels may be numbered.
        if entry.select is not None and layout.has_numbered_columns and layout.format != "xdf":
            allowed = "select only where the layout names its columns (it numbers them)"
            problems.append(make_problem((*loc, "select"), quote(entry.select), allowed))
        request = LogRequest(site, path, entry.file, layout, entry.select)
        problems.extend(_find_shared_log(loc, request, requests))
        requests.append(request)
    return tuple(requests), problems


def _find_shared_log(
    loc: tuple[str | int, ...], new: LogRequest, earlier: list[LogRequest]
) -> Iterator[Problem]:
    for other in earlier:
        same_file = new.path == other.path
        if same_file and new.select == other.select and new.layout == other.layout:
            found = f"the path {quote(new.source)}, which {other.site} reads too"
            yield make_problem(loc, found, "a log for each sensor, or a different select for each")
            return


def _resolve_inside(folder: Path, name: str) -> Path | str:
    """Path of a log, links resolved; or what is allowed instead."""
    if "\\" in name:
        return "a path with / between folders"
    if any(character < " " or character == "\x7f" for character in name):
        return "a path without control characters"
    if Path(name).is_absolute() or PureWindowsPath(name).drive or name.startswith("/"):
        return "a path relative to the session file's folder"
    try:
        path = (folder / name).resolve()
    except (OSError, RuntimeError, ValueError):  # links that go in circles
        return "a path that leads to a file"
    if not path.is_relative_to(folder):
        return "a path that stays inside the session file's folder, links followed"
    return path
