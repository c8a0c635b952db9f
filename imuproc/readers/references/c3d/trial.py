"""A C3D file opened: markers and vertical force in SI units on one clock, stored events.

Reading is done by the general library ezc3d, the extra ``c3d``.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.errors import LogError
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.readers.references.c3d.whole import check_c3d

FloatArray = NDArray[np.float64]

_METRES_PER_UNIT: Final[dict[str, float]] = {"m": 1.0, "cm": 0.01, "mm": 0.001}


@dataclass(frozen=True, eq=False)
class Plates:
    """Force plates, sampled together.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        On the file's clock, in s.
    force_n : ndarray, shape (plates, n, 3)
        In N, lab axes; of either sign, as the file has it.
    corners_m : ndarray, shape (plates, 4, 3)
        In m, lab axes.
    """

    time_s: FloatArray
    force_n: FloatArray
    corners_m: FloatArray


@dataclass(frozen=True, eq=False)
class StoredEvents:
    """Events as the file has them, each with its label and context (the side, as a word)."""

    labels: Sequence[str]
    contexts: Sequence[str]
    time_s: FloatArray


@dataclass(frozen=True, eq=False)
class C3dFile:
    """What a C3D file holds. Its clock counts from the first frame of the capture (frame 1)."""

    path: Path
    content: Any

    @property
    def frame_rate_hz(self) -> float:
        """Rate of markers in Hz; 0 where there are none."""
        return float(self.content["header"]["points"]["frame_rate"])

    @property
    def _start_s(self) -> float:
        rate_hz = self.frame_rate_hz
        return float(self.content["header"]["points"]["first_frame"]) / rate_hz if rate_hz else 0.0

    def compute_frame_times_s(self) -> FloatArray:
        """Times of the frames in s."""
        count = self.content["data"]["points"].shape[2]
        if not count or self.frame_rate_hz <= 0.0:
            raise LogError("found no markers; allowed: a C3D file with the layout's markers")
        return self._start_s + np.arange(count) / self.frame_rate_hz

    def read_marker_m(self, name: str, key: str) -> FloatArray:
        """Trajectory of a marker in m, lab axes, shape (n, 3); NaN where it was not seen.

        Parameters
        ----------
        name : str
            Its label in the file; a subject's name and a colon may come before it.
        key : str
            Key of the layout, for the error.

        Raises
        ------
        LogError
            There is no such marker, or it is there more than once, or lengths have no known unit.
        """
        labels = self._read_texts("POINT", "LABELS")
        places = [k for k, label in enumerate(labels) if label == name]
        places = places or [k for k, label in enumerate(labels) if label.endswith(f":{name}")]
        if len(places) != 1:
            found = "no marker" if not places else f"{len(places)} markers"
            raise LogError(
                f"found {found} {quote(name)} (the layout's {key}); found: "
                f"{quote_all(labels[:60]) or 'no markers'}{suggest_word(name, labels)}"
            )
        points = self.content["data"]["points"][:3, places[0], :].T
        residual = self.content["data"]["meta_points"]["residuals"][0, places[0], :]
        seen = (residual >= 0.0) & np.isfinite(points).all(axis=1)
        return np.where(seen[:, None], points, np.nan) * self._read_metres_per_unit()

    def read_plates(self) -> Plates:
        """Force plates of the file.

        Raises
        ------
        LogError
            There is none, or its signals are not in N or of a kind that is not known.
        """
        parameters = self.content["parameters"]
        used = parameters.get("FORCE_PLATFORM", {}).get("USED", {}).get("value", [0])
        if not len(used) or int(used[0]) < 1:
            raise LogError(
                "found no force plates; allowed: a C3D file with force plates, or a layout with "
                "events = 'stored'"
            )
        platforms = _load_c3d(self.path, forces=True)["data"]["platform"]
        for number in range(1, len(platforms) + 1):
            unit = self._read_force_unit(number)
            if unit != "N":
                raise LogError(f"force plate {number}: found forces in {quote(unit)}; allowed: 'N'")
        force = np.array([plate["force"].T for plate in platforms])
        rate_hz = float(self.content["header"]["analogs"]["frame_rate"])
        return Plates(
            time_s=self._start_s + np.arange(force.shape[1]) / rate_hz,
            force_n=force,
            corners_m=np.array([plate["corners"].T for plate in platforms])
            * self._read_metres_per_unit(),
        )

    def _read_force_unit(self, number: int) -> str:
        """Unit of a plate's first channel; N where the file states none."""
        channel = np.asarray(self.content["parameters"]["FORCE_PLATFORM"]["CHANNEL"]["value"])
        units = self._read_texts("ANALOG", "UNITS")
        place = int(channel.reshape(len(channel), -1)[0, number - 1]) - 1
        return (units[place] if place < len(units) else "") or "N"

    def read_stored_events(self) -> StoredEvents:
        """Events that the program that wrote the file has put into it.

        Raises
        ------
        LogError
            There are none.
        """
        group: Mapping[str, Any] = self.content["parameters"].get("EVENT", {})
        labels, contexts = (
            self._read_texts("EVENT", "LABELS"),
            self._read_texts("EVENT", "CONTEXTS"),
        )
        times = np.asarray(group.get("TIMES", {}).get("value", np.empty((2, 0))), dtype=np.float64)
        if not labels or times.size != 2 * len(labels):
            raise LogError(
                "found no stored events; allowed: a C3D file with events, or a layout with "
                "events = 'force'"
            )
        times = times.reshape(2, -1)
        contexts = [*contexts, *[""] * len(labels)][: len(labels)]
        return StoredEvents(labels, contexts, np.asarray(60.0 * times[0] + times[1]))

    def _read_metres_per_unit(self) -> float:
        units = self._read_texts("POINT", "UNITS")
        unit = units[0].strip() if units else ""
        if unit not in _METRES_PER_UNIT:
            raise LogError(
                f"POINT:UNITS: found {quote(unit)}; allowed: {quote_all(_METRES_PER_UNIT)} "
                "(correct it in the program that wrote the file)"
            )
        return _METRES_PER_UNIT[unit]

    def _read_texts(self, group: str, name: str) -> list[str]:
        """Texts of a parameter; more than 255 of them go on under the name with 2, 3, ..."""
        parameters = self.content["parameters"].get(group, {})
        found: list[str] = []
        for suffix in ("", *map(str, range(2, 100))):
            if f"{name}{suffix}" not in parameters:
                break
            # Bytes that are no UTF-8 come as halves of surrogate pairs, which nothing can print.
            texts = (
                str(text).encode("utf-8", "replace")
                for text in parameters[f"{name}{suffix}"]["value"]
            )
            found += [text.decode("utf-8").strip() for text in texts]
        return found


def open_c3d(path: Path) -> C3dFile:
    """Open a C3D file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    C3dFile

    Raises
    ------
    LogError
        The library is missing, or the file is no C3D file or damaged.
    OSError
        The file cannot be read.
    """
    check_c3d(path)
    return C3dFile(path, _load_c3d(path, forces=False))


def _load_c3d(path: Path, forces: bool) -> Any:
    try:
        return _import_ezc3d().c3d(str(path), extract_forceplat_data=forces)
    except (OSError, RuntimeError, ValueError, IndexError) as error:
        if isinstance(error, OSError) and error.errno:  # of the system, not of the library
            raise
        what = "its force plates cannot be read" if forces else "it cannot be read"
        raise LogError(f"the C3D file is damaged, or {what}: {error}") from error


def _import_ezc3d() -> ModuleType:
    try:
        import ezc3d
    except ImportError as error:
        raise LogError(
            "C3D files need the library ezc3d, which is not installed; install imuproc with its "
            'extra: pip install "imuproc[c3d]"'
        ) from error
    return ezc3d  # type: ignore[no-any-return]
