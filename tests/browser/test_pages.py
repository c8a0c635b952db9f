"""Pages seen in a real browser: what works, what is marked, what stays text, what prints."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.report.pages.made_report import DOUBTFUL, FAILED, NOTED, SOUND

PHONE = {"width": 360, "height": 740}
TABLET = {"width": 820, "height": 1100}
ALL = ("index", SOUND, NOTED, DOUBTFUL, FAILED)


class Seen:
    """A page and all that went wrong or out while it was open."""

    def __init__(self, context: Any, report: Path) -> None:
        self._report = report
        self.page = context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("dialog", lambda dialog: (self.said.append("dialog"), dialog.dismiss()))
        self.page.on("request", lambda request: self.asked.append(request.url))

    def open(self, name: str, size: dict[str, int] = TABLET) -> Any:
        self.page.set_viewport_size(size)
        self.page.goto((self._report / f"{name}.html").as_uri())
        return self.page


@pytest.fixture
def seen(browser: Any, report: Path) -> Iterator[Seen]:
    seen = Seen(browser, report)
    yield seen
    seen.page.close()


@pytest.mark.parametrize("name", ALL)
def test_a_page_opens_from_its_file_without_errors_or_requests(seen: Seen, name: str) -> None:
    page = seen.open(name)
    assert page.locator("h1").count() == 1
    assert seen.said == []
    assert seen.asked == [page.url]


@pytest.mark.parametrize("name", ALL)
def test_no_page_scrolls_sideways_on_a_phone(seen: Seen, name: str) -> None:
    page = seen.open(name, PHONE)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def marked(page: Any) -> list[tuple[str, str]]:
    """Kind and step of everything that is marked."""
    return page.evaluate(
        """[...document.querySelectorAll("[data-step].on")].map((part) => [
            part.tagName === "TR" ? "row" : part.classList.contains("leg") ? "leg"
              : part.classList.item(1), part.dataset.step])"""
    )


def expect_step(page: Any, step: int) -> None:
    found = marked(page)
    assert {number for _, number in found} == {str(step)}
    kinds = [kind for kind, _ in found]
    assert {"row", "leg", "column", "point", "bar", "curve"} == set(kinds)
    assert kinds.count("curve") == 2
    assert kinds.count("column") == 3
    assert page.locator(".leg input:checked").get_attribute("value") == str(step)
    assert page.locator("#said").text_content().startswith(f"Step {step},")
    assert page.locator("#brief").text_content().startswith(f"{step}\u00a0")


def unfold(page: Any) -> None:
    page.evaluate("document.querySelectorAll('details').forEach((part) => (part.open = true))")


def test_the_message_comes_first_and_details_are_folded(seen: Seen) -> None:
    page = seen.open(SOUND, PHONE)
    point = page.locator(".main-point")
    assert point.bounding_box()["y"] < 200
    assert not page.locator(".steps").is_visible()
    page.get_by_text("Every step", exact=True).click()
    assert page.locator(".steps").is_visible()


def test_chart_words_are_at_least_12_px_on_a_phone(seen: Seen) -> None:
    page = seen.open(SOUND, PHONE)
    unfold(page)
    heights = page.evaluate(
        """[...document.querySelectorAll(".plot text")].map((text) =>
            parseFloat(getComputedStyle(text).fontSize) * text.getScreenCTM().a)"""
    )
    assert len(heights) > 20
    assert min(heights) >= 12.0


def contrast(one: str, other: str) -> float:
    """Of two colours as ``rgb(r, g, b)``; WCAG 2.2, relative luminance."""

    def luminance(colour: str) -> float:
        parts = [int(n) / 255.0 for n in colour[4:-1].split(",")]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_targets_and_marks_can_be_seen_in_the_sun(seen: Seen, scheme: str) -> None:
    """3:1 for what must be seen (WCAG 2.2, success criterion 1.4.11)."""
    seen.page.emulate_media(color_scheme=scheme)
    page = seen.open(SOUND)
    colour = "(e, p) => getComputedStyle(e).getPropertyValue(p)"
    paper = page.locator(".charts section").first.evaluate(colour, "background-color")
    edge = page.locator(".plot .edge").first.evaluate(colour, "stroke")
    band = page.locator(".plot .band").first.evaluate(colour, "fill")
    for side in ("left", "right"):
        mark = page.locator(f".plot .point .{side}").first.evaluate(colour, "stroke")
        assert contrast(mark, paper) >= 3.0
        assert contrast(mark, band) >= 3.0
    assert contrast(edge, paper) >= 3.0
    assert contrast(edge, band) >= 3.0


def test_picking_a_step_with_the_mouse_marks_it_everywhere(seen: Seen) -> None:
    page = seen.open(SOUND)
    unfold(page)
    page.locator(".steps tbody tr").nth(4).hover()
    expect_step(page, 5)
    page.locator(".leg").nth(6).hover()
    expect_step(page, 7)


@pytest.mark.parametrize("part", ["point", "bar", "curve"])
def test_pointing_into_a_figure_picks_the_nearest_step(seen: Seen, part: str) -> None:
    page = seen.open(SOUND)
    unfold(page)
    plot = page.locator(".plot").filter(has=page.locator(f".{part}")).first
    plot.scroll_into_view_if_needed()
    x, y = plot.evaluate(
        """(plot, part) => {
            const drawn = plot.querySelector(`.${part}[data-step="6"]`);
            let at = drawn.getBoundingClientRect();
            at = [at.x + at.width / 2, at.y + at.height / 2];
            if (part === "curve") {
                const path = drawn.querySelector("path");
                const on = path.getPointAtLength(path.getTotalLength() * 0.3);
                const seen = on.matrixTransform(path.getScreenCTM());
                at = [seen.x, seen.y];
            }
            return at;
        }""",
        part,
    )
    page.mouse.move(x, y)
    expect_step(page, 6)


def test_a_step_is_picked_by_keyboard_alone(seen: Seen) -> None:
    page = seen.open(SOUND)
    for _ in range(8):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.type") == "radio":
            break
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect_step(page, 3)
    outline = "getComputedStyle(document.activeElement.closest('.leg')).outlineStyle"
    assert page.evaluate(outline) == "solid"
    page.get_by_role("button", name="Next step").press("Enter")
    expect_step(page, 4)


def test_a_finger_picks_a_step(seen: Seen) -> None:
    page = seen.open(SOUND, PHONE)
    page.locator(".leg").nth(3).click()
    expect_step(page, 4)
    page.get_by_role("button", name="Step before").click()
    expect_step(page, 3)


def test_hostile_notes_stay_text(seen: Seen) -> None:
    page = seen.open(NOTED, PHONE)
    notes = " ".join(page.locator(".note").all_text_contents())
    assert notes.count("<script>alert(1)</script>") == 3
    assert "\u202e" not in notes
    assert page.locator("img").count() == 0
    assert page.locator("script").count() == 1
    assert seen.said == []
    seen.open("index")
    assert page.locator("img").count() == 0
    assert seen.said == []


def test_the_index_filters_sorts_and_leads_to_each_run(seen: Seen) -> None:
    page = seen.open("index")
    unfold(page)
    cards, names = page.locator(".runs > li:visible h3 a"), page.locator(".squad tbody th:visible")
    assert cards.all_text_contents() == [DOUBTFUL, SOUND, FAILED, NOTED]
    assert names.all_text_contents() == [SOUND, NOTED, DOUBTFUL, FAILED]
    page.locator("#state").select_option("failed")
    assert names.all_text_contents() == cards.all_text_contents() == [FAILED]
    assert page.locator("#shown").text_content() == "1 of 4 runs"
    page.locator("#state").select_option("")
    page.locator("#sort").select_option("run")
    page.get_by_role("button", name="Reverse").click()
    assert names.all_text_contents() == [FAILED, DOUBTFUL, NOTED, SOUND]
    page.locator("#sort").select_option("m0")
    assert names.all_text_contents()[-1] == FAILED  # what is missing comes last either way
    page.get_by_label("Find", exact=True).fill("forward of nothing")
    assert names.count() == 0
    athlete = page.locator(".squad tbody tr").last.get_attribute("data-athlete")
    page.get_by_label("Find", exact=True).fill(f"{SOUND[-2:]} {athlete}")
    backwards = cards.all_text_contents()
    page.get_by_label("Find", exact=True).fill(f"{athlete} {SOUND[-2:]}")
    assert cards.all_text_contents() == backwards
    page.get_by_label("Find", exact=True).fill("")
    page.locator(".squad").get_by_role("link", name=NOTED).click()
    assert page.locator("h1").text_content().endswith(f"run {NOTED}")


def test_a_phone_shows_the_newest_run_of_each_athlete_first_and_the_others_when_asked(
    seen: Seen,
) -> None:
    page = seen.open("index", PHONE)
    cards = page.locator(".runs > li:visible")
    blocks, before = page.locator("section.athlete").count(), cards.count()
    assert before == blocks < 4
    while page.locator(".more:visible").count():
        page.locator(".more:visible").first.click()
    assert cards.count() == 4
    page.reload()
    unfold(page)
    page.locator("#state").select_option("failed")
    assert cards.count() == 1  # what is looked for is shown, newest or not
    page.set_viewport_size(TABLET)
    page.locator("#state").select_option("")
    assert cards.count() == 4


@pytest.mark.parametrize(("scheme", "dark"), [("dark", True), ("light", False)])
def test_dark_and_light_follow_the_reader(seen: Seen, scheme: str, dark: bool) -> None:
    seen.page.emulate_media(color_scheme=scheme)
    page = seen.open(SOUND)
    for part in ("background-color", "fill"):
        where = "body" if part == "background-color" else ".plot text"
        colour = page.locator(where).first.evaluate(
            "(e, p) => getComputedStyle(e).getPropertyValue(p)", part
        )
        bright = sum(int(n) for n in colour[4:-1].split(",")) > 380
        assert bright is (dark if part == "fill" else not dark)


def test_a_run_prints_with_all_its_figures(seen: Seen, tmp_path: Path) -> None:
    from pypdf import PdfReader

    page = seen.open(SOUND)
    page.pdf(path=str(tmp_path / "run.pdf"), prefer_css_page_size=True)
    pages = PdfReader(tmp_path / "run.pdf").pages
    assert 2 <= len(pages) <= 5
    assert [round(float(side)) for side in pages[0].mediabox[2:]] == [595, 842]  # A4 in points
    text = "\n".join(page.extract_text() for page in pages)
    for heading in page.locator("h2, summary").all_text_contents():
        assert heading in text
    assert "Ankle through every swing" in text
    assert not page.locator(".steps").is_visible()  # folded again


def test_what_matters_prints_on_one_page(seen: Seen, tmp_path: Path) -> None:
    from pypdf import PdfReader

    page = seen.open(SOUND)
    page.evaluate("window.print = () => {}")
    page.get_by_role("button", name="Print one page").click()
    page.pdf(path=str(tmp_path / "one.pdf"), prefer_css_page_size=True)
    pages = PdfReader(tmp_path / "one.pdf").pages
    assert len(pages) == 1
    text = pages[0].extract_text()
    for words in (
        "Main point",
        "Shin and foot at every touchdown",
        "Contact time by step",
        "Please note",
    ):
        assert words in text


@pytest.mark.parametrize(
    ("name", "scheme"),
    [
        ("index", "light"),
        ("index", "dark"),
        (SOUND, "dark"),
        (DOUBTFUL, "light"),
        (FAILED, "light"),
    ],
)
def test_the_accessibility_checker_finds_nothing_serious(
    seen: Seen, name: str, scheme: str
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    seen.page.emulate_media(color_scheme=scheme)
    page = seen.open(name, PHONE if scheme == "light" else TABLET)
    found = Axe().run(page).response["violations"]
    grave = [
        (fault["id"], [node["html"][:200] for node in fault["nodes"][:3]])
        for fault in found
        if fault["impact"] in ("serious", "critical")
    ]
    assert grave == []


def test_the_checker_would_find_a_fault(seen: Seen) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page = seen.open(FAILED)
    page.evaluate("document.querySelector('main').append(document.createElement('button'))")
    found = Axe().run(page).response["violations"]
    assert "button-name" in {fault["id"] for fault in found}
