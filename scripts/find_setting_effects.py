"""Find for settings a scene and a value that show in the results.

    python scripts/find_setting_effects.py                  those that the table does not show
    python scripts/find_setting_effects.py --scene slow     on this scene alone

The table is ``tests/pipeline/every_setting.toml``, which a test holds: take a line out of it, and
it is sought anew. Reasons at its end are written by hand and kept. Listed is which setting shows on
no scene, and which legal value ends in an error that the program did not foresee: the latter is a
fault of the program. Exit code: 0 none, 1 some.
"""

import argparse
import os
import sys
import time
import warnings
from collections.abc import Iterable, Iterator
from pathlib import Path

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

REPO = Path(__file__).resolve().parents[1]
sys.path.append(str(REPO))

from pydantic import ValidationError  # noqa: E402

from imuproc.files.settings_model import Setting, StageSettings  # noqa: E402
from tests.pipeline.scenes import SCENES, Scene  # noqa: E402
from tests.pipeline.setting_effects import (  # noqa: E402
    REASONS,
    TABLE,
    change_number,
    find_owner,
    list_numbers,
    read_table,
)
from tests.pipeline.stage_effects import EFFECTS  # noqa: E402
from tests.pipeline.watched import Watched  # noqa: E402


def main() -> int:
    """Run the script."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scene", action="append", choices=SCENES)
    names = parser.parse_args().scene or list(SCENES)
    warnings.simplefilter("error")
    table = read_table() if TABLE.exists() else {}
    reasons = table.pop(REASONS, {})
    found = {name: dict(table.get(name, {})) for name in SCENES}
    numbers = list_numbers()
    shown = {*EFFECTS, *(place for own in found.values() for place in own)}
    left = {place: setting for place, setting in numbers.items() if place not in shown}
    faults: list[str] = []
    scenes = {name: _read_on(SCENES[name]) for name in names}
    for values in (_list_range_ends, _list_values_between):
        for name, (watched, read) in scenes.items():
            start_s = time.process_time()
            for place, setting in list(left.items()):
                if not (place.startswith(SCENES[name].shows or "") and find_owner(place) in read):
                    continue
                value = _find_value_that_shows(watched, place, values(setting), faults)
                if value is not None:
                    found[name][place] = value
                    del left[place]
            took_s = time.process_time() - start_s
            print(f"{name}: {len(found[name])} show, {len(left)} left, {took_s:.0f} s", flush=True)
            still = {place: reasons.get(place, "") for place in left}
            TABLE.write_text(_format_table({**found, REASONS: still}))
    read_somewhere = set().union(*(read for _, read in scenes.values()))
    for place in left:
        never = "" if find_owner(place) in read_somewhere else " (never read)"
        print(f"shows nowhere{never}: {place}: {reasons.get(place, 'no reason given')}")
    print(*sorted(faults), f"{len(numbers) - len(left)} of {len(numbers)} show", sep="\n")
    return 1 if faults or not left.keys() <= reasons.keys() else 0


def _read_on(scene: Scene) -> tuple[Watched, set[tuple[str, str]]]:
    """A scene, and the settings that its run looked at: no others can make a difference there."""
    read = set()

    def note_read(settings: StageSettings, name: str) -> object:
        read.add((type(settings).__name__, name))
        return object.__getattribute__(settings, name)

    StageSettings.__getattribute__ = note_read  # type: ignore[method-assign, assignment]
    try:
        return Watched(scene.make(), scene.base), read
    finally:
        del StageSettings.__getattribute__


def _find_value_that_shows(
    watched: Watched, place: str, values: Iterable[float], faults: list[str]
) -> float | None:
    """The first value that makes a difference; None where none does."""
    for value in values:
        try:
            if watched.find_difference(change_number(place, value)):
                return value
        except ValidationError:
            continue  # against another setting
        except Exception as error:  # noqa: BLE001  all that was not foreseen is to be told
            faults.append(f"error: {place} = {value:g}: {type(error).__name__}: {error}")
    return None


def _list_range_ends(setting: Setting) -> list[float]:
    return [setting.low, setting.high]


def _list_values_between(setting: Setting) -> Iterator[float]:
    """Nearer to the usual value."""
    usual, low, high = setting.value, setting.low, setting.high
    assert not isinstance(usual, tuple)
    shares = (0.5, 0.3, 0.1, 0.03)
    between = [usual + share * (end - usual) for share in shares for end in (low, high)]
    for value in (
        *between,
        *(times * usual for times in (0.1, 0.25, 0.5, 0.8, 1.25, 2.0, 4.0, 16.0)),
    ):
        near = round(value) if isinstance(usual, int) else float(f"{value:.4g}")
        if low <= near <= high and near != usual:
            yield near


def _format_table(found: dict[str, dict[str, float]] | dict[str, dict[str, str]]) -> str:
    parts = [
        "# On which scene each setting shows, and at which value. Made by\n"
        "# scripts/find_setting_effects.py, but for the reasons at the end, written by hand.\n"
    ]
    for name, own in found.items():
        lines = [f'"{place}" = {_format_toml(value)}\n' for place, value in own.items()]
        parts.append(f"[{name}]\n{''.join(lines)}")
    return "\n".join(parts)


def _format_toml(value: float | str) -> str:
    return f'"{value}"' if isinstance(value, str) else repr(value)


if __name__ == "__main__":
    sys.exit(main())
