"""What a reader of references is asked for, and what every one of them is."""

from dataclasses import dataclass
from math import nan
from pathlib import Path
from typing import Protocol, TypeVar

from imuproc.core.reference import Reference
from imuproc.readers.references.layout import ReferenceLayout

LayoutT = TypeVar("LayoutT")


@dataclass(frozen=True)
class ReferenceRequest:
    """One reference to read.

    Parameters
    ----------
    path : Path
        The file.
    source : str
        The path as the study file names it.
    layout : ReferenceLayout
        How it is written.
    covers_s : tuple of (float, float)
        What the reference covers, in s on its own clock, where that is stated; else NaN.
    standing : Path or None
        Quiet standing of the same athlete with the same markers (C3D only).
    standing_source : str
        Its path as the study file names it.
    """

    path: Path
    source: str
    layout: ReferenceLayout
    covers_s: tuple[float, float] = (nan, nan)
    standing: Path | None = None
    standing_source: str = ""

    def require_layout(self, model: type[LayoutT]) -> LayoutT:
        """The layout, which must be of a kind; TypeError where it is not."""
        if not isinstance(self.layout, model):
            raise TypeError(f"layout is {type(self.layout).__name__}, not {model.__name__}")
        return self.layout


class ReferenceReader(Protocol):
    """A module that reads one format of references."""

    def read(self, request: ReferenceRequest) -> Reference:
        """Read a reference.

        Raises
        ------
        LogError
            It cannot be read; the text leaves the file's name to the registry.
        """
