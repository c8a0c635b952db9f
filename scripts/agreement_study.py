"""A whole study of real running against force plates, as a user would make it, and its tables.

11 runners at 2.5, 3.5 and 4.5 m/s (Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298): sensor logs from
the optical poses, contacts of the plates on a clock of their own. Everything goes through files and
through the command line. Run it twice over: with an instant that both clocks recorded, and with the
events alone, which refuses runs whose steps come like clockwork.

Run ``python scripts/agreement_study.py FOLDER``.
"""

import argparse
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from scripts.lab.optical_running import DATA, RealCase, list_cases
from scripts.lab.study_folders import (
    PLATE_LAYOUT,
    Seen,
    draw_instant_key,
    format_study,
    make_coverage_key,
    write_real_session,
    write_references,
)

INSTANT_U_S: Final = 0.001
_SHOWN: Final = (
    "figure", "per", "by", "group", "n", "athletes", "bias", "bias_low", "bias_high", "sd",
    "lower", "upper", "icc", "ccc", "within_2u",
)  # fmt: skip


def make_study(folder: Path, chosen: Sequence[RealCase], seed: int) -> list[Seen]:
    """Write session, logs, references, and two study files: ``instant.toml``, ``events.toml``.

    Parameters
    ----------
    folder : Path
    chosen : sequence of RealCase
    seed : int

    Returns
    -------
    list of Seen
    """
    seen = write_real_session(folder, chosen, 500.0, seed)
    write_references(folder, seen, None)
    rng = np.random.default_rng([seed, 4])
    covered = {one.run: make_coverage_key(one) for one in seen}
    tied = {one.run: covered[one.run] | draw_instant_key(one, INSTANT_U_S, rng) for one in seen}
    for name, keys in (("events", covered), ("instant", tied)):
        text = format_study(seen, PLATE_LAYOUT, keys=keys)
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return seen


def _run_imuproc(*arguments: object) -> int:
    return subprocess.run([sys.executable, "-m", "imuproc", *map(str, arguments)]).returncode


def main() -> int:
    """Make the study, compare, and print the tables of both ways to bring the clocks together."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("folder", type=Path, help="a new folder")
    parser.add_argument("--limit", type=int, default=0, help="at most about so many runs; 0: all")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    if not DATA.is_dir():
        print(f"no data in {DATA}", file=sys.stderr)
        return 2
    every = list_cases()
    chosen = every[:: max(1, len(every) // asked.limit)] if asked.limit else every
    seen = make_study(asked.folder, chosen, asked.seed)
    session, out = asked.folder / "session.toml", asked.folder / "out"
    worst = _run_imuproc("process", session, "-o", out, "--no-report", "--quiet")
    for name in ("instant", "events"):
        print(f"\n=== {name} ===", flush=True)
        to = asked.folder / f"agreement-{name}"
        worst = max(worst, _run_imuproc("agree", asked.folder / f"{name}.toml", "-o", to))
        _print_tables(to, seen)
    return worst


def _print_tables(folder: Path, seen: Sequence[Seen]) -> None:
    if not (folder / "agreement.csv").is_file():
        return
    table = pd.read_csv(folder / "agreement.csv")
    print(table[table["by"] == "all"][[*_SHOWN]].to_string(index=False, float_format="%.4g"))
    clocks = pd.read_csv(folder / "clocks.csv").set_index("run")
    true = pd.Series({one.run: one.offset_s for one in seen})
    error_ms = 1000.0 * (clocks["offset_s"] - true[clocks.index])
    print(
        f"offsets of {len(error_ms)} clocks: error mean {error_ms.mean():.2f} ms, largest "
        f"{error_ms.abs().max():.2f} ms"
    )


if __name__ == "__main__":
    raise SystemExit(main())
