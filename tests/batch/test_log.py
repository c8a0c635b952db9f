from pathlib import Path

from imuproc.batch.log import PROCESS_LOG, ProcessLog
from imuproc.batch.outcome import Outcome


def test_each_entry_has_a_time_in_front_and_earlier_ones_stay(tmp_path: Path) -> None:
    ProcessLog(tmp_path).add_line("first\nand more")
    ProcessLog(tmp_path).add_line("second")
    lines = (tmp_path / PROCESS_LOG).read_text(encoding="utf-8").splitlines()
    assert [line.split(" ", 1)[1] for line in lines] == ["first", "   and more", "second"]
    assert lines[0][:2] == "20"


def test_an_outcome_says_what_and_how_long(tmp_path: Path) -> None:
    log = ProcessLog(tmp_path)
    log.add_outcome(Outcome("R07-01", "done", steps=6, seconds=0.5))
    log.add_outcome(Outcome("R07-02", "failed", seconds=0.25, reason="no steps", log="Trace"))
    text = (tmp_path / PROCESS_LOG).read_text(encoding="utf-8")
    assert "R07-01 6 steps (0.50 s)\n" in text
    assert "R07-02 failed: no steps (0.25 s)\n    Trace\n" in text


def test_a_log_that_cannot_be_written_stops_nothing(tmp_path: Path) -> None:
    log = ProcessLog(tmp_path / "gone")
    log.add_line("first")
    assert isinstance(log.fault, FileNotFoundError)
