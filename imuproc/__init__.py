"""imuproc: step-by-step figures of sprint running from small inertial sensors.

Public names load when first used, so that ``import imuproc`` stays cheap.
"""

from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

try:
    __version__ = version("imuproc")
except PackageNotFoundError:  # a source tree that is not installed
    __version__ = "0+source"

if TYPE_CHECKING:
    from imuproc import plots as plots
    from imuproc.batch.process import SessionOptions as SessionOptions
    from imuproc.batch.process import process_session as process_session
    from imuproc.pipeline import stages as stages
    from imuproc.pipeline.run import process as process
    from imuproc.pipeline.settings import Settings as Settings
    from imuproc.readers.session import read_session as read_session
    from imuproc.readers.study import read_study as read_study
    from imuproc.results.archive.reading import open_archive as open_archive
    from imuproc.results.summarising import summarise as summarise

_HOMES = {
    "open_archive": "imuproc.results.archive.reading",
    "read_session": "imuproc.readers.session",
    "read_study": "imuproc.readers.study",
    "process": "imuproc.pipeline.run",
    "process_session": "imuproc.batch.process",
    "SessionOptions": "imuproc.batch.process",
    "Settings": "imuproc.pipeline.settings",
    "summarise": "imuproc.results.summarising",
}

_MODULES = {"plots": "imuproc.plots", "stages": "imuproc.pipeline.stages"}

__all__ = ["__version__", *_HOMES, *_MODULES]


def __getattr__(name: str) -> Any:
    if name in _MODULES:
        return import_module(_MODULES[name])
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'imuproc' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
