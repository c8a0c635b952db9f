"""The picture that is sent: main point, its figure with the steps marked, caution, date, code."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from imuproc.assessment.cues import find_cues
from imuproc.assessment.verdicts import find_verdicts
from imuproc.core.flags import RaisedFlag
from imuproc.report.pages.view import RunView
from imuproc.report.picture import write_picture
from imuproc.report.sheet import Sheet
from tests.report.pages.made_report import SOUND


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, tuple]]:
    """What is put on the sheet."""
    seen: list[tuple[str, tuple]] = []
    for name in ("draw_text", "draw_ring"):
        method = getattr(Sheet, name)

        def record(self, *what, _name=name, _method=method, **more):
            seen.append((_name, what))
            return _method(self, *what, **more)

        monkeypatch.setattr(Sheet, name, record)
    return seen


def toe_dropping(view: RunView) -> RunView:
    low = view.steps.assign(dorsiflexion_swing_mean_deg=-12.0, dorsiflexion_swing_mean_deg_u=1.0)
    judged = find_verdicts(low, view.targets)
    return replace(view, steps=low, verdicts=judged, cues=find_cues(judged, view.targets, {}))


def words_of(drawn: list[tuple[str, tuple]]) -> str:
    return "\n".join(what[2] for name, what in drawn if name == "draw_text")


def test_it_shows_what_its_headline_says(
    views: dict[str, RunView], drawn: list[tuple[str, tuple]], tmp_path: Path
) -> None:
    view = toe_dropping(views[SOUND])
    write_picture(tmp_path / "run.png", view)
    words = words_of(drawn)
    for told in ("Toe drops in the air", "under target", "Try: toe up", "Toe in the air by step"):
        assert told in words
    for told in (view.summary.athlete, SOUND, "2031-04-12", "not advice on health"):
        assert told in words
    assert sum(name == "draw_ring" for name, _ in drawn) == len(view.cues[0].steps)
    assert min(what[3] for name, what in drawn if name == "draw_text") >= 25
    with Image.open(tmp_path / "run.png") as image:
        assert image.size == (1080, 1560)
        assert len(np.unique(np.asarray(image).reshape(-1, 3), axis=0)) > 50


def test_of_a_run_in_doubt_nothing_is_named(
    views: dict[str, RunView], drawn: list[tuple[str, tuple]], tmp_path: Path
) -> None:
    view = views[SOUND]
    flags = (*view.summary.flags, RaisedFlag("sides_swapped"))
    write_picture(
        tmp_path / "run.png", replace(view, summary=replace(view.summary, flags=flags), cues=())
    )
    assert "in doubt" in words_of(drawn)
    assert "Try:" not in words_of(drawn)


def test_equal_runs_give_equal_bytes(views: dict[str, RunView], tmp_path: Path) -> None:
    for name in ("a.png", "b.png"):
        write_picture(tmp_path / name, views[SOUND])
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
