"""README and guides as pages: what comes first, how long, where links lead."""

import re
import tomllib
from fnmatch import fnmatch

import pytest

from imuproc.cli.guide import GUIDES, TOPICS
from tests.guards.sources import REPO
from tests.guides.pages import Page, pages

README = pages()["README"]
DEVELOPERS = Page("DEVELOPERS", REPO / "DEVELOPERS.md", (REPO / "DEVELOPERS.md").read_text("utf-8"))
LINK = re.compile(r"\]\(([^)\s]+)\)")


def test_the_job_comes_first_then_what_it_is_not_then_the_commands() -> None:
    title, paragraph, warning = README.text.split("\n\n")[:3]
    assert title == "# imuproc"
    assert "inertial sensors" in paragraph
    assert "does not diagnose" in warning
    assert "(#cautions)" in warning
    first, second = (block.text.strip() for block in README.blocks[:2])
    assert (first, second) == ("python scripts/quickstart.py", "python scripts/run_tests.py")


def test_the_readme_stays_short() -> None:
    assert README.path.stat().st_size <= 9000


def test_the_pictures_are_small_files() -> None:
    pictures = list((GUIDES / "pictures").iterdir())
    assert {p.suffix for p in pictures} == {".png"}
    assert all(p.read_bytes().startswith(b"\x89PNG\r\n") for p in pictures)
    assert all(p.stat().st_size < 120_000 for p in pictures)
    assert {p.name for p in pictures} <= {link.rpartition("/")[2] for link in links(README)}


def test_every_guide_is_a_topic_and_in_the_readme_with_its_line() -> None:
    assert sorted(path.stem for path in GUIDES.glob("*.md")) == sorted(TOPICS)
    lines = {topic: pages()[topic].text.splitlines()[2] for topic in TOPICS}
    section = README.section("## Where the rest is")
    rows = dict(re.findall(r"^\| \[\w+\]\(imuproc/guides/(\w+)\.md\) \| (.+) \|$", section, re.M))
    assert rows == lines


def test_the_package_carries_every_guide_and_picture() -> None:
    project = tomllib.loads((REPO / "pyproject.toml").read_text("utf-8"))
    carried = project["tool"]["setuptools"]["package-data"]["imuproc"]
    for path in GUIDES.rglob("*"):
        name = path.relative_to(REPO / "imuproc").as_posix()
        assert path.is_dir() or any(fnmatch(name, pattern) for pattern in carried), name


def links(page: Page) -> list[str]:
    return LINK.findall(page.prose)


def anchors(text: str) -> set[str]:
    """Anchors of a page's headings as web views make them: lower case, hyphens, no other marks."""
    prose = Page("", REPO, text).prose
    headings = re.findall(r"^#+ (.+)$", prose, flags=re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", words.lower()).replace(" ", "-") for words in headings}


@pytest.mark.parametrize("page", [*pages().values(), DEVELOPERS], ids=lambda page: page.name)
def test_links_lead_somewhere(page: Page) -> None:
    for link in links(page):
        if "://" in link:
            continue
        name, _, anchor = link.partition("#")
        target = (page.path.parent / name).resolve() if name else page.path
        assert target.is_file(), link
        assert target.is_relative_to(REPO), link
        assert not anchor or anchor in anchors(target.read_text("utf-8")), link


def test_anchors_are_those_of_web_views() -> None:
    """GitHub's own example is the first one (docs.github.com, Basic writing and formatting)."""
    text = '# This\'ll be a _Helpful_ Section\n```\n# no heading\n```\n## One clock: `"shared"`\n'
    assert anchors(text) == {"thisll-be-a-_helpful_-section", "one-clock-shared"}


@pytest.mark.parametrize("topic", TOPICS)
def test_a_guide_begins_with_its_title_and_its_line(topic: str) -> None:
    title, empty, line, after = pages()[topic].text.splitlines()[:4]
    assert re.fullmatch(r"# [A-Z].+", title)
    assert (empty, after) == ("", "")
    assert line.endswith(".")
    assert len(line) <= 66  # beside the topic it fits into 80 columns
    longest = max(pages()[topic].prose.split("\n\n"), key=lambda p: 0 if "|" in p else len(p))
    assert len(longest) < 1200  # paragraphs that can be read; lists count as one
