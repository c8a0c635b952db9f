"""Make the pictures of README.md again: a run's page and the terminal, from data_samples.

    python scripts/make_pictures.py

They go to imuproc/guides/pictures. Needs Debian's Chromium (apt-get install chromium) and the extra
`test`. Look at them before they are committed.
"""

import io
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright
from rich.console import Console
from rich.text import Text

REPO = Path(__file__).resolve().parents[1]
PICTURES = REPO / "imuproc" / "guides" / "pictures"
CHROMIUM = "/usr/bin/chromium"
RUN = "R12-02"
PAGE_SIZE = (900, 1205)
TERMINAL_SIZE = (700, 572)
COLUMNS = 80
COLOURS = 128
FRAME = """<html><body style="margin:0;background:#17191c;color:#e6e6e6">
<pre style="margin:14px 18px;font:13px/1.32 'DejaVu Sans Mono',monospace">{code}</pre>
</body></html>"""


def process_run(out: Path) -> str:
    """Work out the run; what the terminal shows, with the command before it."""
    arguments = ["process", "data_samples/session.toml", "-o", str(out), "--run", RUN]
    done = subprocess.run(
        [sys.executable, "-m", "imuproc", *arguments],
        cwd=REPO,
        env=os.environ | {"FORCE_COLOR": "1", "COLUMNS": str(COLUMNS), "PYTHONPATH": str(REPO)},
        capture_output=True,
        text=True,
        check=True,
    )
    typed = " ".join(["$ imuproc", *arguments]).replace(str(out), "out")
    return f"{typed}\n{done.stdout}"


def make_page(shown: str) -> str:
    """HTML of what a terminal shows, colours included."""
    console = Console(record=True, width=COLUMNS, file=io.StringIO(), force_terminal=True)
    console.print(Text.from_ansi(shown))
    return console.export_html(inline_styles=True, code_format=FRAME)


def photograph_pages(pages: dict[Path, tuple[Path, tuple[int, int]]]) -> None:
    """Top of each page as a picture, by picture: the page and its size in pixels."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for picture, (page, (width, height)) in pages.items():
            seen = browser.new_page(viewport={"width": width, "height": height})
            seen.goto(page.as_uri())
            drawn = Image.open(io.BytesIO(seen.screenshot()))
            drawn.convert("RGB").quantize(COLOURS).save(picture, optimize=True)
        browser.close()


def main() -> None:
    """Make both pictures."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        terminal = folder / "terminal.html"
        terminal.write_text(make_page(process_run(folder / "out")), encoding="utf-8")
        page = folder / "out" / "report" / f"{RUN}.html"
        photograph_pages(
            {
                PICTURES / "run-page.png": (page, PAGE_SIZE),
                PICTURES / "terminal.png": (terminal, TERMINAL_SIZE),
            }
        )
    for picture in sorted(PICTURES.glob("*.png")):
        print(f"{picture.relative_to(REPO)}: {picture.stat().st_size} bytes")


if __name__ == "__main__":
    main()
