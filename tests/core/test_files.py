import os
from pathlib import Path

import pytest

from imuproc.files.whole import replace_file


def test_the_file_appears_when_it_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    with replace_file(path) as temporary:
        temporary.write_text("whole", encoding="utf-8")
        assert not path.exists()
    assert path.read_text(encoding="utf-8") == "whole"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt])
def test_an_interruption_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, error: type[BaseException]
) -> None:
    path = tmp_path / "a.csv"
    path.write_text("old", encoding="utf-8")

    def stopped_half_way() -> None:
        with replace_file(path) as temporary:
            temporary.write_text("half", encoding="utf-8")
            raise error("stop")

    with pytest.raises(error, match="stop"):
        stopped_half_way()
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_the_content_is_on_the_disk_before_the_name_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, order = tmp_path / "a.csv", []

    def synced(handle: int) -> None:
        order.append("folder" if os.path.samestat(os.fstat(handle), tmp_path.stat()) else "file")

    def renamed(source: Path, target: Path) -> None:
        order.append("name")
        source.rename(target)

    monkeypatch.setattr("imuproc.files.whole.os.fsync", synced)
    monkeypatch.setattr("imuproc.files.whole.os.replace", renamed)
    with replace_file(path) as temporary:
        temporary.write_text("whole", encoding="utf-8")
    assert order == (["file", "name"] if os.name == "nt" else ["file", "name", "folder"])
    assert path.read_text(encoding="utf-8") == "whole"
