import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from imuproc.batch.fingerprint import ENTRY, compute_fingerprint, hash_inputs, list_programs
from imuproc.batch.plan import plan_tasks
from imuproc.events.runs import RunSettings
from imuproc.pipeline.settings import Settings
from imuproc.readers.session import read_session
from tests.session_folder import write_small_session


def prints(session: Path, settings: Settings | None = None) -> list[str]:
    tasks = plan_tasks(read_session(session))
    return [compute_fingerprint(hash_inputs(task), settings or Settings()) for task in tasks]


def test_the_same_content_elsewhere_has_the_same_fingerprint(tmp_path: Path) -> None:
    first = prints(write_small_session(tmp_path / "session"))
    shutil.copytree(tmp_path / "session", tmp_path / "elsewhere")
    assert prints(tmp_path / "elsewhere" / "session.toml") == first
    assert len(set(first)) == 3


def in_text(old: str, new: str) -> Callable[[Path], None]:
    def change(session: Path) -> None:
        text = session.read_text(encoding="utf-8")
        assert old in text
        session.write_text(text.replace(old, new, 1), encoding="utf-8")

    return change


def in_log(session: Path) -> None:
    log = session.parent / "logs" / "R07-01_ls.csv"
    log.write_bytes(log.read_bytes().replace(b"0.1,-0.1", b"0.1,-0.2", 1))


CHANGES: dict[str, tuple[Callable[[Path], None], list[bool]]] = {
    "a bit of a log": (in_log, [True, False, False]),
    "distance of a run": (in_text("distance_m = 30", "distance_m = 40"), [True, False, False]),
    "stature": (in_text("stature_m = 1.74", "stature_m = 1.75"), [True, True, True]),
    "unit": (in_text('unit = "deg/s"', 'unit = "rad/s"'), [True, True, True]),
    "latitude": (
        in_text('surface = "track"', 'surface = "track"\nlatitude_deg = 60.0'),
        [True, True, True],
    ),
    "date": (in_text("date = 2031-04-12", "date = 2031-04-13"), [False, False, False]),
    "comment": (in_text("schema = 1", "schema = 1  # still"), [False, False, False]),
}


@pytest.mark.parametrize("change", CHANGES)
def test_what_a_result_depends_on_changes_its_fingerprint_alone(
    tmp_path: Path, change: str
) -> None:
    session = write_small_session(tmp_path / "session")
    before = prints(session)
    make, expected = CHANGES[change]
    make(session)
    assert [a != b for a, b in zip(before, prints(session), strict=True)] == expected


def test_settings_and_programs_count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    session = write_small_session(tmp_path / "session")
    before = prints(session)
    other = Settings(runs=RunSettings(cutoff_hz=RunSettings().cutoff_hz + 1))
    assert not set(before) & set(prints(session, other))
    newer = {**list_programs(), "numpy": "99.0"}
    monkeypatch.setattr("imuproc.batch.fingerprint.list_programs", lambda: newer)
    assert not set(before) & set(prints(session))


def test_inputs_are_named_as_in_the_session_file(tmp_path: Path) -> None:
    task = plan_tasks(read_session(write_small_session(tmp_path / "session")))[0]
    digests = hash_inputs(task)
    assert list(digests) == ["logs/R07-01_ls.csv", ENTRY]
    assert all(len(digest) == 64 for digest in digests.values())
