"""Debian's Chromium, headless, for looking at pages as a reader does."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.browser.required import missing
from tests.report.pages.made_report import reported_folder

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[object]:
    """A browser context with an empty profile, closed at the end."""
    if not CHROMIUM.is_file():
        missing(f"{CHROMIUM} is not installed (apt-get install chromium)")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError as error:
        missing(str(error))
    with sync_playwright() as driver:
        context = driver.chromium.launch_persistent_context(
            str(tmp_path_factory.mktemp("profile")),
            executable_path=str(CHROMIUM),
            headless=True,
            args=ARGUMENTS,
            bypass_csp=True,  # only so that the accessibility checker can be put into the page
        )
        yield context
        context.close()


@pytest.fixture(scope="session")
def report() -> Path:
    """The report of a folder with runs of every kind."""
    return reported_folder() / "report"
