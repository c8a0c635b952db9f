"""The picture for a message: a PNG of bounded size, the same bytes every time."""

from pathlib import Path

import matplotlib.image
import numpy as np
import pytest

from imuproc.report.pages.view import RunView
from imuproc.report.picture import write_picture
from tests.report.pages.made_report import DOUBTFUL, SOUND


@pytest.mark.parametrize("run", [SOUND, DOUBTFUL])
def test_a_picture_fits_into_a_message(views: dict[str, RunView], tmp_path: Path, run: str) -> None:
    path = tmp_path / "run.png"
    write_picture(path, views[run])
    pixels = matplotlib.image.imread(path)
    height, width = pixels.shape[:2]
    assert width == 1080
    assert 700 <= height <= 2000
    assert path.stat().st_size < 400_000
    shades = np.ptp(pixels[..., :3].reshape(-1, 3), axis=0)
    assert (shades > 0.5).all()
    first = path.read_bytes()
    write_picture(path, views[run])
    assert path.read_bytes() == first
