"""A study from its file to a folder of tables, pictures, words and a page."""

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from markupsafe import Markup

from imuproc.agreement.study import StudyResult, compare_study
from imuproc.batch.folder import RESULTS, hold_folder, require_no_file
from imuproc.core.errors import SessionError
from imuproc.files.disk_errors import describe_write_error
from imuproc.files.whole import replace_file
from imuproc.files.wording import quote
from imuproc.readers.study import Study
from imuproc.report.agreement.charts import pictures_of
from imuproc.report.agreement.page import AGREEMENT_HTML, Chart, agreement_page
from imuproc.report.agreement.tables import (
    AGREEMENT_CSV,
    AGREEMENT_JSON,
    CLOCKS_CSV,
    DETECTION_CSV,
    EXCLUSIONS_CSV,
    PAIRS_CSV,
    write_tables,
)
from imuproc.report.agreement.wording import Paragraphs, write_paragraphs
from imuproc.report.pages.svg import PAPER, set_drawing, svg_text

AGREEMENT_TXT: Final = "agreement.txt"
PICTURES: Final = "pictures"
_OURS: Final = (
    AGREEMENT_JSON, AGREEMENT_CSV, PAIRS_CSV, DETECTION_CSV, CLOCKS_CSV, EXCLUSIONS_CSV,
    AGREEMENT_TXT, AGREEMENT_HTML,
)  # fmt: skip
_PNG_DPI: Final = 180
"""Of pictures for papers and slides; chosen by eye, no source."""


@dataclass(frozen=True, eq=False)
class Agreed:
    """What a study gave, and the files that hold it, by name."""

    result: StudyResult
    files: dict[str, str]


def run_study(study: Study, folder: Path, advance: Callable[[str], None] | None = None) -> Agreed:
    """Compare the runs of a study and write everything.

    Parameters
    ----------
    study : Study
    folder : Path
        Made when needed. What an earlier comparison of the same study left is replaced.
    advance : callable, optional
        Called with the run's id after each run.

    Returns
    -------
    Agreed

    Raises
    ------
    SessionError
        The folder holds something else, is in use, or cannot be written.
    """
    require_no_file(folder)
    _require_own_folder(folder, study)
    with hold_folder(folder, folder):
        result = compare_study(study, advance)
        try:
            files = _write_agreement(folder, result)
        except OSError as error:
            raise SessionError(describe_write_error(error.filename or folder, error)) from error
    return Agreed(result, files)


def _require_own_folder(folder: Path, study: Study) -> None:
    """Refuse a folder whose files are of something else, or what would replace an input."""
    if any(os.path.isfile(folder / name) for name in RESULTS):
        raise SessionError(
            f"{folder}: holds results of imuproc process; allowed as output: another folder"
        )
    inputs = {study.path.resolve()}
    for run in study.runs:
        inputs.add(run.request.path.resolve())
        inputs |= {run.request.standing.resolve()} if run.request.standing else set()
    for name in _OURS:
        if (folder / name).resolve() in inputs:
            raise SessionError(
                f"{folder / name}: is an input of this study and would be overwritten; allowed as "
                "output: another folder"
            )
    other = _read_study_id(folder)
    if other is not None and other != study.id:
        raise SessionError(
            f"{folder}: holds the agreement of the study {quote(other)}, not of "
            f"{quote(study.id)}; allowed: another folder with --out"
        )


def _read_study_id(folder: Path) -> str | None:
    """Id of the study whose agreement is in a folder; None where there is none."""
    try:
        content = json.loads((folder / AGREEMENT_JSON).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise SessionError(
            f"{folder / AGREEMENT_JSON}: cannot be read as what imuproc agree writes ({error}); "
            "remove it, or name another folder with --out"
        ) from error
    return str(content.get("study")) if isinstance(content, dict) else ""


def _write_agreement(folder: Path, result: StudyResult) -> dict[str, str]:
    _remove_earlier(folder)
    files = write_tables(folder, result)
    words: Paragraphs | None = None
    charts: list[Chart] = []
    if result.agreement is not None:
        words = write_paragraphs(result)
        files[AGREEMENT_TXT] = _write_text(folder / AGREEMENT_TXT, words.as_text())
        charts = _draw_pictures(folder, result, files)
    page = agreement_page(result, words, charts)
    files[AGREEMENT_HTML] = _write_text(folder / AGREEMENT_HTML, page)
    return files


def _remove_earlier(folder: Path) -> None:
    """Take away what an earlier comparison left: nothing of it may stand beside the new one."""
    drawn = folder / PICTURES
    old = [folder / name for name in _OURS if name != AGREEMENT_JSON]
    for kind in ("difference_*", "by_step_*", "signals_*"):
        old += [path for path in drawn.glob(kind) if path.suffix in (".svg", ".png")]
    for path in old:
        path.unlink(missing_ok=True)


def _draw_pictures(folder: Path, result: StudyResult, files: dict[str, str]) -> list[Chart]:
    """Write every picture as SVG and PNG; those of the page with their words."""
    place = folder / PICTURES
    place.mkdir(exist_ok=True)
    charts = []
    with set_drawing(result.study.id):
        for picture in pictures_of(result):
            for kind in ("svg", "png"):
                path = place / f"{picture.name}.{kind}"
                with replace_file(path) as temporary:
                    metadata = {"Date": None} if kind == "svg" else {"Software": None}
                    picture.figure.savefig(
                        temporary, format=kind, dpi=_PNG_DPI, facecolor=PAPER, metadata=metadata
                    )
                files[f"{PICTURES}/{path.name}"] = str(path)
            charts.append(
                Chart(
                    picture.name,
                    picture.title,
                    Markup(svg_text(picture.figure)),
                    picture.alt,
                    picture.caption,
                )
            )
    return charts


def _write_text(path: Path, content: str) -> str:
    with replace_file(path) as temporary:
        temporary.write_text(content, encoding="utf-8")
    return str(path)
