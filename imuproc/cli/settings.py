"""``imuproc settings``: every number of the method, as a file to start from."""

from dataclasses import dataclass
from typing import Annotated

import typer


@dataclass(frozen=True)
class SettingsOptions:
    """What a user can ask ``imuproc settings`` for."""

    stage: Annotated[
        str,
        typer.Argument(
            metavar="[STAGE]",
            help="Only this one, as motion or calibration.standing; all when left out.",
            show_default=False,
        ),
    ] = ""


def settings(options: SettingsOptions) -> None:
    """Print the numbers of the method, each with meaning, unit, range and basis.

    They are printed as a settings file: imuproc settings > my.toml, then change what you will, and
    imuproc process SESSION --settings my.toml. What a file leaves out stays as it is.
    """
    from imuproc.pipeline.settings import make_usual_settings
    from imuproc.pipeline.settings_text import write_settings_text

    print(write_settings_text(make_usual_settings(), options.stage), end="")
