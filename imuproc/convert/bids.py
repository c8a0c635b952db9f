"""Sessions as a BIDS data set of motion recordings, one tracking system for each sensor.

Field names as in the Brain Imaging Data Structure, specification 1.10. LATENCY counts from the
first sample and has microseconds, as BIDS wants it; the logger's own stamps stand in a channel
``time_s`` beside it with every bit, see :mod:`imuproc.readers.logs.bids_motion`.
"""

import datetime
import io
import json
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow import csv

from imuproc import __version__
from imuproc.convert.form import Facts, Target, Watched
from imuproc.convert.tables import AXES
from imuproc.core.recording import SensorLog
from imuproc.files.whole import replace_file, write_text
from imuproc.readers.logs.bids_files import CHANNELS, MISSING, MOTION
from imuproc.readers.logs.bids_motion import STAMPS, ZERO_AT
from imuproc.readers.session import Session

_LAYOUT: Final = "bids-motion"
_VERSION: Final = "1.10.0"
_TASK: Final = "running"
_CHANNELS_JSON: Final = "_channels.json"
_MOTION_JSON: Final = "_motion.json"
_README: Final = """\
Recordings of inertial sensors on running athletes, written by `imuproc convert`.

Each sensor is a tracking system of its own, with stamps of its own. The channel LATENCY counts from
the first sample; the channel time_s holds the stamps as the logger counted them, every bit of them,
and StampsZeroAt in the JSON is the instant at which they count 0, where that is known. The column
range of the channels is the full scale of the sensor. session.toml is for `imuproc process`.
"""
_CHANNEL_NOTES: Final = {
    "reference_frame": {
        "Levels": {
            "sensor": {
                "SpatialAxes": MISSING,
                "RotationOrder": MISSING,
                "RotationRule": "right-hand",
                "Description": "Axes of the sensor's own housing, however it was mounted.",
            }
        }
    },
    "range": {"Description": "Full scale of the sensor, in the units of the channel."},
}


def list_targets(session: Session, runs: Iterable[str]) -> list[Target]:
    """A recording for each log; runs of an athlete are counted from 1."""
    chosen = list(runs)
    athletes = list(dict.fromkeys(session.athlete_of(run).id for run in session.plans))
    subjects = dict(zip(athletes, _make_labels(athletes), strict=True))
    label = _make_labels([session.id])[0]
    found = []
    for athlete in athletes:
        own = [run for run in session.plans if session.athlete_of(run).id == athlete]
        for index, run in enumerate(own, 1):
            stem = f"sub-{subjects[athlete]}_ses-{label}_task-{_TASK}"
            folder = f"sub-{subjects[athlete]}/ses-{label}/motion"
            found += [
                Target(
                    session.plans[run].run,
                    athlete,
                    request.site,
                    f"{folder}/{stem}_tracksys-{request.site.replace('_', '')}_run-{index}{MOTION}",
                )
                for request in session.list_requests(run)
                if run in chosen
            ]
    order = {run: place for place, run in enumerate(chosen)}
    return sorted(found, key=lambda target: order[target.run.id])


def _make_labels(ids: list[str]) -> list[str]:
    """BIDS labels have letters and digits only; a number keeps those apart that become equal."""
    labels: list[str] = []
    for name in ids:
        plain = re.sub(r"[^A-Za-z0-9]", "", name) or "x"
        label, number = plain, 1
        while label.casefold() in {other.casefold() for other in labels}:
            number += 1
            label = f"{plain}x{number}"
        labels.append(label)
    return labels


def list_files_beside(target: Target) -> tuple[str, ...]:
    """Channels, their notes, and metadata."""
    stem = target.file.removesuffix(MOTION)
    return (stem + CHANNELS, stem + _CHANNELS_JSON, stem + _MOTION_JSON)


def write_log(folder: Path, target: Target, pieces: Iterable[SensorLog]) -> Facts:
    """Write one log, piece after piece, and the files beside it.

    Raises
    ------
    LogError
        The log cannot be read; nothing is left of it.
    OSError
        A file cannot be written.
    """
    watched = Watched(pieces)
    path = folder / target.file
    path.parent.mkdir(parents=True, exist_ok=True)
    channels, notes, metadata = (folder / name for name in list_files_beside(target))
    with replace_file(path) as temporary:
        onset = float("nan")
        with temporary.open("wb") as file:
            for piece in watched:
                if np.isnan(onset):
                    onset = _find_first_number(piece.time_s)
                file.write(_format_lines(piece, onset))
        facts = watched.get_facts()
        write_text(channels, _format_channels(target, facts))
        write_text(notes, _format_json(_CHANNEL_NOTES))
        write_text(metadata, _format_json(_build_metadata(target, facts)))
    return facts


def _find_first_number(values: NDArray[np.float64]) -> float:
    known = values[np.isfinite(values)]
    return float(known[0]) if known.size else float("nan")


def _format_lines(piece: SensorLog, onset: float) -> bytes:
    """Rows of the recording: latency, stamp, accelerometer, gyroscope."""
    latency = np.char.mod("%.6f", piece.time_s - onset)
    latency[~np.isfinite(piece.time_s)] = MISSING
    columns = [piece.time_s, *piece.accel_mps2.T, *piece.gyro_radps.T]
    cells = [pa.array(latency.astype(object), pa.string()), *map(_format_cells, columns)]
    out = io.BytesIO()
    how = csv.WriteOptions(include_header=False, delimiter="\t", quoting_style="none")
    csv.write_csv(pa.table(cells, names=[str(place) for place in range(8)]), out, how)
    return out.getvalue()


def _format_cells(values: NDArray[np.float64]) -> pa.Array:
    """Shortest texts that give the same numbers again."""
    numbers = pa.array(np.ascontiguousarray(values), mask=~np.isfinite(values))
    return numbers.cast(pa.string()).fill_null(MISSING)


def _format_channels(target: Target, facts: Facts) -> str:
    heads = ("name", "component", "type", "tracked_point", "units", "placement", "reference_frame")
    site, place = target.site, target.site.replace("_", " ")
    rows = [
        (*heads, "range"),
        ("latency", MISSING, "LATENCY", site, "s", place, MISSING, MISSING),
        (STAMPS, MISSING, "MISC", site, "s", place, MISSING, MISSING),
    ]
    for kind, units, full_scale in (
        ("ACCEL", "m/s^2", facts.accel_range_mps2),
        ("GYRO", "rad/s", facts.gyro_range_radps),
    ):
        shown = MISSING if full_scale is None else repr(float(full_scale))
        rows += [
            (f"{site}_{kind}_{axis}", axis, kind, site, units, place, "sensor", shown)
            for axis in AXES
        ]
    return _format_tsv(rows)


def _build_metadata(target: Target, facts: Facts) -> dict[str, Any]:
    duration_s = facts.last_s - facts.first_s
    effective_hz = (facts.n - 1) / duration_s if duration_s > 0 else float("nan")
    content: dict[str, Any] = {
        "TaskName": _TASK,
        "TaskDescription": "Running; session.toml tells the start and the distance.",
        "TrackingSystemName": target.site.replace("_", ""),
        "SamplingFrequency": _to_json_number(facts.rate_hz),
        "SamplingFrequencyEffective": _to_json_number(effective_hz),
        "RecordingDuration": _to_json_number(duration_s),
        "MissingValues": MISSING,
        "MotionChannelCount": 8,
        "ACCELChannelCount": 3,
        "GYROChannelCount": 3,
        "LATENCYChannelCount": 1,
        "MISCChannelCount": 1,
        "TrackedPointsCount": 1,
    }
    if facts.zero_at is not None:
        content[ZERO_AT] = facts.zero_at.isoformat()
    return content


def _to_json_number(value: float) -> float | str:
    return value if np.isfinite(value) else MISSING


def build_layouts(written: list[tuple[Target, Facts]]) -> tuple[dict[str, Any], list[str]]:
    """One layout that only names the format."""
    return {_LAYOUT: {"format": "bids-motion"}}, [_LAYOUT] * len(written)


def finish_folder(folder: Path, session: Session, written: list[tuple[Target, Facts]]) -> list[str]:
    """Write what makes the folder a data set: its description, participants and times of day."""
    files = {
        "dataset_description.json": _format_json(
            {
                "Name": session.id,
                "BIDSVersion": _VERSION,
                "DatasetType": "raw",
                "GeneratedBy": [{"Name": "imuproc", "Version": __version__}],
            }
        ),
        "README": _README,
        ".bidsignore": "session.toml\n.imuproc-convert.json\n",
        "participants.json": _format_json(
            {"athlete": {"Description": "The athlete's code in session.toml."}}
        ),
    }
    people: dict[str, str] = {}
    scans: dict[str, list[tuple[str, ...]]] = {}
    for target, facts in written:
        subject, session_folder, rest = target.file.split("/", 2)
        people[subject] = target.athlete
        name = f"{subject}/{session_folder}/{subject}_{session_folder}_scans.tsv"
        scans.setdefault(name, []).append((rest, _format_acquisition_time(facts), target.run.id))
    files["participants.tsv"] = _format_tsv(
        [("participant_id", "athlete"), *sorted(people.items())]
    )
    for name, rows in scans.items():
        files[name] = _format_tsv([("filename", "acq_time", "run_id"), *rows])
        note = {"run_id": {"Description": "The run's id in session.toml."}}
        files[name.replace(".tsv", ".json")] = _format_json(note)
    for name, text in files.items():
        write_text(folder / name, text)
    return list(files)


def _format_acquisition_time(facts: Facts) -> str:
    """When the first sample was taken, in UTC where the zone is known."""
    if facts.zero_at is None or not np.isfinite(facts.first_s):
        return MISSING
    try:
        first = facts.zero_at + datetime.timedelta(seconds=facts.first_s)
        if first.tzinfo is None:
            return first.isoformat(timespec="microseconds")
        utc = first.astimezone(datetime.UTC).replace(tzinfo=None)
    except OverflowError:
        return MISSING
    return f"{utc.isoformat(timespec='microseconds')}Z"


def _format_tsv(rows: Iterable[tuple[str, ...]]) -> str:
    return "".join("\t".join(row) + "\n" for row in rows)


def _format_json(content: dict[str, Any]) -> str:
    return json.dumps(content, indent=2) + "\n"
