"""``imuproc guide`` as a user meets it."""

import re

import pytest

from imuproc.cli.guide import GUIDES, TOPICS
from imuproc.report.guide_view import print_guide
from tests.cli.command import Command


def test_without_a_topic_the_topics_are_listed_a_line_each(imuproc: Command) -> None:
    seen = imuproc("guide")
    assert (seen.code, seen.err) == (0, "")
    rows = re.findall(r"^  (\w+) +(\S.+)$", seen.out, flags=re.MULTILINE)
    assert [topic for topic, _ in rows] == list(TOPICS)
    assert ("clocks", "Loggers with one clock, clocks tied by jumps, or separate ones.") in rows
    assert max(map(len, seen.out.splitlines())) <= 80


@pytest.mark.parametrize("topic", TOPICS)
def test_piped_a_guide_is_plain_text_without_links(imuproc: Command, topic: str) -> None:
    seen = imuproc("guide", topic)
    assert (seen.code, seen.err) == (0, "")
    written = (GUIDES / f"{topic}.md").read_text("utf-8")
    assert seen.out.splitlines()[0] == written.splitlines()[0]
    assert "\x1b" not in seen.out
    assert "<!--" not in seen.out
    assert not re.search(r"\]\((?!https?:)", seen.out)
    # Nothing but links and comments is lost.
    words = re.sub(r"\[([^\]]+)\]\([^)]+\)", r"\1", re.sub(r"<!--.*?-->", "", written))
    assert set(re.findall(r"\w+", words.lower())) <= set(re.findall(r"\w+", seen.out.lower()))


def test_links_become_the_commands_that_show_the_other_guide(imuproc: Command) -> None:
    assert "(`imuproc guide session`)" in imuproc("guide", "formats").out
    assert "see `imuproc guide clocks`" in imuproc("guide", "session").out
    assert "DEVELOPERS.md" in imuproc("guide", "python").out


@pytest.mark.parametrize(
    ("asked", "near"), [("flag", "flags"), ("acuracy", "accuracy"), ("photocells", "agreement")]
)
def test_an_unknown_topic_names_the_nearest_and_all(
    imuproc: Command, asked: str, near: str
) -> None:
    seen = imuproc("guide", asked)
    assert (seen.code, seen.out) == (2, "")
    assert f"found no topic '{asked}' - did you mean '{near}'?" in seen.err
    assert all(f"'{topic}'" in seen.err for topic in TOPICS)


@pytest.mark.parametrize("asked", ["xyzzy", "", "../../README", "\x1b[31m"])
def test_a_topic_that_nothing_is_near_to(imuproc: Command, asked: str) -> None:
    seen = imuproc("guide", asked)
    assert (seen.code, seen.out) == (2, "")
    assert "did you mean" not in seen.err
    assert "\x1b" not in seen.err


@pytest.mark.parametrize("asked", ["Clocks", "clocks.md", " clocks "])
def test_a_topic_may_be_written_as_its_file(imuproc: Command, asked: str) -> None:
    assert imuproc("guide", asked).out == imuproc("guide", "clocks").out


def test_on_a_terminal_tables_are_drawn_and_no_word_is_cut(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    print_guide("# Title\n\n| figure | " + "| ".join(["long_heading "] * 9) + "|\n" + "|---" * 10)
    print_guide("|a|\n|---|\n|`contact_time_s`|\n")
    shown = capsys.readouterr().out
    assert "…" not in shown
    assert "|" not in shown
    assert "─" in shown
    assert max(map(len, shown.splitlines())) <= 80
    assert "".join(shown.split()).count("h") == 9
    assert "contact_time_s" in shown
