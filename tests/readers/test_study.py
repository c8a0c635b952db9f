"""The study file: what it names, and how it is refused."""

from pathlib import Path

import numpy as np
import pytest

from imuproc.core.errors import LogError, SessionError
from imuproc.readers.references.layout import C3dLayout, EventsLayout
from imuproc.readers.study import Instant, read_study

STUDY = """
schema = 1

[study]
id = "outdoor-2031"
window_s = 0.06
figures = ["contact_time_s", "shin_angle_touchdown_deg"]
note = "two athletes"

[layout.phone]
format = "events"
kind = "video"
unit = "frame"
frame_rate_hz = 240
columns = { side = "foot", touchdown = "on", toe_off = "off" }

[layout.plates]
format = "c3d"
events = "force"
first_side = "left"

[[run]]
id = "R07-01"
results = "spring/out"
reference = "video/R07-01.csv"
layout = "phone"
sides = ["right"]
covers_s = [0.0, 6.5]

[[run]]
id = "R07-02_1"
results = "../autumn/out"
reference = "plates/R07-02.c3d"
layout = "plates"
instant = { table_s = 12.34, reference_s = 3.21, u_s = 0.004 }
window_s = 0.03
standing = "plates/R07-standing.c3d"
note = "wind"
"""


def folder(tmp_path: Path, text: str = STUDY) -> Path:
    study = tmp_path / "study"
    for results in (study / "spring" / "out", tmp_path / "autumn" / "out"):
        results.mkdir(parents=True)
        (results / "steps.csv").write_text("session\n")
    path = study / "study.toml"
    path.write_text(text)
    return path


def test_a_study_names_runs_and_what_they_are_held_against(tmp_path: Path) -> None:
    study = read_study(folder(tmp_path))
    assert (study.id, study.note) == ("outdoor-2031", "two athletes")
    assert study.figures == ("contact_time_s", "shin_angle_touchdown_deg")
    first, second = study.runs
    assert (first.id, first.sides, first.window_s) == ("R07-01", ("right",), 0.06)
    assert isinstance(first.request.layout, EventsLayout)
    assert first.request.covers_s == (0.0, 6.5)
    assert first.instant is None
    assert (second.id, second.sides, second.window_s) == ("R07-02_1", ("left", "right"), 0.03)
    assert isinstance(second.request.layout, C3dLayout)
    assert second.instant == Instant(12.34, 3.21, 0.004)
    assert second.request.standing == tmp_path / "study/plates/R07-standing.c3d"
    assert (second.results / "steps.csv").is_file()
    assert second.results_source == "../autumn/out"


def test_references_are_read_when_asked_for(tmp_path: Path) -> None:
    path = folder(tmp_path)
    video = path.parent / "video" / "R07-01.csv"
    video.parent.mkdir()
    video.write_text("foot,on,off\nr,240,276\nr,360,396\nr,480,516\n")
    first, second = read_study(path).runs
    got = first.read_reference()
    np.testing.assert_allclose(got.touchdown_s, [1.0, 1.5, 2.0])
    assert (got.source, got.start_s, got.end_s) == ("video/R07-01.csv", 0.0, 6.5)
    with pytest.raises(LogError, match=r"^plates/R07-02.c3d: there is no such file"):
        second.read_reference()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("schema = 1", "schema = 2", r"schema: found the number 2; allowed: the number 1"),
        ("schema = 1", "", r"schema: found nothing"),
        ('id = "outdoor-2031"', "", r"study.id: this key is missing; allowed: 1 to 64 letters"),
        ("window_s = 0.06", "window_s = 60", r"study.window_s: found the number 60; .*at most 0.5"),
        ('"contact_time_s"', '"contact_time"', r"'contact_time'; allowed: .*mean 'contact_time_s'"),
        ('kind = "video"', 'kind = "film"', r"layout.phone.kind: found the text 'film'; allowed"),
        ("frame_rate_hz = 240", "", r"layout.phone: found unit = \"frame\" without frame_rate_hz"),
        ('format = "events"', "", r"layout.phone.format: found nothing; allowed: 'events', 'phot"),
        ('"c3d"', '"cd3"', r"layout.plates.format: found the text 'cd3'; .*did you mean 'c3d'"),
        (
            "first_side",
            "first_sid",
            r"layout.plates.first_sid: found unknown key .*mean .first_side",
        ),
        ('layout = "phone"', 'layout = "fone"', r"run\[1\].layout \(id 'R07-01'\): found the text"),
        ('layout = "phone"', "", r"run\[1\].layout \(id 'R07-01'\): this key is missing"),
        ('"R07-02_1"', '"R07/02"', r"run\[2\].id .*: found the text 'R07/02'; allowed: the id of"),
        ('"spring/out"', '"spring"', r"run\[1\].results .*: found no steps.csv in the folder"),
        ('"spring/out"', '"/spring/out"', r"run\[1\].results .*allowed: a path from the study"),
        ('"video/R07-01.csv"', '"C:/v.csv"', r"run\[1\].reference .*allowed: a path from the"),
        ('["right"]', '["rechts"]', r"run\[1\].sides.*'rechts'"),
        ("[0.0, 6.5]", "[6.5, 0.0]", r"found 6.5 and 0; allowed: the first time before the last"),
        ("u_s = 0.004", "u_s = -0.004", r"run\[2\].instant.u_s .*the standard uncertainty"),
        (", u_s = 0.004", "", r"run\[2\].instant.u_s .*this key is missing"),
        ('layout = "plates"', 'layout = "phone"', r"standing trial with format 'events'; allowed"),
    ],
)
def test_a_problem_is_named_with_its_key(tmp_path: Path, old: str, new: str, message: str) -> None:
    path = folder(tmp_path, STUDY.replace(old, new))
    with pytest.raises(SessionError, match=message) as refused:
        read_study(path)
    assert all(line.startswith(str(path)) for line in str(refused.value).splitlines())


def test_a_pair_may_be_there_once(tmp_path: Path) -> None:
    again = STUDY + STUDY[STUDY.index("[[run]]") :].split("[[run]]")[1].join(["[[run]]", ""])
    with pytest.raises(SessionError, match=r"run\[3\].id .*R07-01.csv' again; allowed: each pair"):
        read_study(folder(tmp_path, again))


def test_every_problem_is_told_at_once(tmp_path: Path) -> None:
    text = STUDY.replace("frame_rate_hz = 240", "").replace("first_side", "first_sid")
    with pytest.raises(SessionError, match="unknown key") as refused:
        read_study(folder(tmp_path, text))
    assert len(str(refused.value).splitlines()) == 2
