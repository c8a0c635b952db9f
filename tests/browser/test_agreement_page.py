"""The page of a study in a real browser: on a desk, on a phone, and with nothing from elsewhere."""

from pathlib import Path
from typing import Any

import pytest

from imuproc.batch.agreement import run_study
from imuproc.readers.study import read_study
from tests.report.agreement.made_study import whole_study


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("study")
    path = whole_study(folder)
    hostile = 'note = "<script>alert(1)</script>\'"\n'
    path.write_text(path.read_text().replace("[study]\n", f"[study]\n{hostile}"))
    text = path.read_text()
    text += '\n[[run]]\nid = "R08-02"\nresults = "out"\nreference = "seen/R07-01.csv"\n'
    path.write_text(text + 'layout = "other"\n')
    return Path(run_study(read_study(path), folder / "agreement").files["agreement.html"])


@pytest.mark.parametrize("width", [360, 1280])
def test_the_page_opens_whole_and_does_not_scroll_sideways(
    browser: Any, page_file: Path, width: int
) -> None:
    page = browser.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: (said.append("dialog"), dialog.dismiss()))
    page.on("request", lambda request: asked.append(request.url))
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(page_file.as_uri())
    assert said == []
    assert asked == [page.url]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("h1").count() == 1
    assert page.locator("[role=img]").count() == 4
    assert all(
        part.get_attribute("aria-label").startswith("Difference of")
        for part in page.locator("[role=img]").all()
    )
    assert "R08-02" in page.locator(".trouble").text_content()
    assert "<script>" in page.locator(".note").text_content()  # shown, not run
    page.close()
