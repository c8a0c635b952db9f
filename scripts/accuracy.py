"""How right the step table is, judged on recordings with known truth.

    python scripts/accuracy.py                     simulated sprints, mid-grade sensors at 500 Hz
    python scripts/accuracy.py --real              real treadmill running with a force plate
    python scripts/accuracy.py --list              all groups of cases
    python scripts/accuracy.py --group 'real*' --group curve --jobs 2 --csv-dir tables
    python scripts/accuracy.py --all --jobs 2 --csv-dir tables

One table per group, and one line per group at the end. Coverage ("within 2u") carries its 95 %
interval. Times are in s, lengths in m, angles in deg, unless the name says otherwise.

The simulator lets feet land and leave as force plates show it at 2.5 to 4.5 m/s and carries that to
sprint speed, so its events test the method (sensors, drift, sampling), not how real sprinters leave
the ground: for that there are the real cases. The real cases need the open data of Fukuchi,
Fukuchi & Duarte 2017 (PeerJ 5:e3298) in ../shared/data: real poses and force-plate contacts, made
into inertial signals, so sensors are made up there but motion is not.
"""

import argparse
import os
import re
import sys
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import imuproc
from imuproc.agreement.judging import Judged, judge
from imuproc.core.recording import Recording
from imuproc.synth.truth import Truth
from scripts.lab.accuracy_cases import Recipe, judge_case, keep_sites, list_numbers, make_case
from scripts.lab.accuracy_groups import GROUPS, Group, choose_groups
from scripts.lab.accuracy_tables import (
    BARS,
    Bar,
    add_bars,
    build_error_table,
    build_group_line,
    list_whole_run_rows,
    summarise_runs,
)

SEED = 20_260_000
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def make_simulated_cases(
    count: int, seed: int, grade: str, rate_hz: float
) -> Iterator[tuple[str, Recording, Truth]]:
    """Made-up runs: start, distance, athlete and technique drawn at random."""
    return _make_cases(Recipe("sprint", grade, rate_hz), count, 0, seed)


def make_real_cases(
    grade: str, rate_hz: float, seed: int, shock: Any, limit: int
) -> Iterator[tuple[str, Recording, Truth]]:
    """Real treadmill running with force-plate contacts (20 N above local zero)."""
    recipe = Recipe("optical", grade, rate_hz, impact=shock, trials="treadmill")
    return _make_cases(recipe, 0, limit, seed)


def _make_cases(
    recipe: Recipe, count: int, limit: int, seed: int
) -> Iterator[tuple[str, Recording, Truth]]:
    for number in list_numbers(recipe, count, limit):
        case = make_case(recipe, number, seed)
        yield case.name, case.recording, case.truth


def judge_cases(
    cases: Iterator[tuple[str, Recording, Truth]], sites: str, verbose: bool
) -> list[Judged]:
    """Process every case and judge it, here and now."""
    judged = []
    for name, whole, truth in cases:
        judged.append(judge(imuproc.process(keep_sites(whole, sites)), truth, name))
        if verbose:
            print(format_run_line(judged[-1]), flush=True)
    return judged


# --- All groups, in worker processes -------------------------------------------------------------


@dataclass(frozen=True)
class Sweep:
    """What is asked for: groups, how many cases of each, from which seed."""

    groups: tuple[Group, ...]
    count: int
    limit: int
    seed: int

    def list_batches(self) -> list[list[tuple[Recipe, int, int]]]:
        """Cases of one number together: they share what is costly to make."""
        recipes = sorted({group.recipe for group in self.groups}, key=repr)
        by_number: dict[tuple[bool, int], list[tuple[Recipe, int, int]]] = {}
        for recipe in recipes:
            for number in list_numbers(recipe, self.count, self.limit):
                key = (recipe.motion == "optical", number)
                by_number.setdefault(key, []).append((recipe, number, self.seed))
        return list(by_number.values())


def judge_batch(batch: Sequence[tuple[Recipe, int, int]]) -> list[Judged]:
    """Judge cases one after the other."""
    return [judge_case(*case) for case in batch]


def run_sweep(sweep: Sweep, jobs: int, verbose: bool) -> dict[str, list[Judged]]:
    """Judge all cases of all groups; the result does not depend on the number of workers.

    Parameters
    ----------
    sweep : Sweep
    jobs : int
        Worker processes.
    verbose : bool
        Whether each run is told.

    Returns
    -------
    dict from group name to list of Judged
        In the order of the groups and of the cases' numbers.
    """
    # A worker reads these when it loads its numerical libraries: sums do not depend on cores then.
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    batches = sweep.list_batches()
    done: dict[tuple[Recipe, int], Judged] = {}
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        for batch, results in zip(batches, pool.map(judge_batch, batches), strict=True):
            for (recipe, number, _), judged in zip(batch, results, strict=True):
                done[recipe, number] = judged
                if verbose:
                    print(format_run_line(judged), flush=True)
    return {
        group.name: [
            done[group.recipe, number]
            for number in list_numbers(group.recipe, sweep.count, sweep.limit)
        ]
        for group in sweep.groups
    }


def format_run_line(one: Judged) -> str:
    """One run in one line."""
    if one.failed:
        return f"no result: {one.failed}"
    errors = one.errors.set_index("figure")["error"].astype(float)
    shin, contact = errors.get("shin_angle_touchdown_deg"), errors.get("contact_time_s")
    return (
        f"{one.errors['case'].iloc[0] if len(one.errors) else '':28s} "
        f"steps {one.found}/{one.real_steps} invented {one.invented} "
        f"shin {np.mean(shin):+.2f}±{np.std(shin):.2f} deg  contact {1e3 * np.mean(contact):+.1f}±"
        f"{1e3 * np.std(contact):.1f} ms  pitch {one.pitch_swing_rms_deg:.2f} deg"
    )


def build_group_table(group: Group, judged: Sequence[Judged]) -> pd.DataFrame:
    """All tables of a group below each other; ``part`` tells them apart, ``all`` is the whole.

    Parameters
    ----------
    group : Group
    judged : sequence of Judged
    """
    if group.by_set:
        tables = [
            _build_whole_table(
                [one for one in judged if find_set_name(one) == name], find_set_bars(group, name)
            ).assign(part=name)
            for name in list_set_names(judged)
        ]
        table = pd.concat(tables, ignore_index=True)
        return pd.concat((table.pop("part"), table), axis=1)
    steps = sum(one.real_steps for one in judged)
    bars = BARS.get(group.bars, {})
    tables = [_build_whole_table(judged, bars).assign(part="all")]
    errors = [one.errors for one in judged if len(one.errors)]
    for label in group.parts if errors else ():
        together = pd.concat(errors, ignore_index=True)
        for part in sorted(set(together[label]) - {""}, key=_order_by_number):
            own = build_error_table(together[together[label] == part])
            tables.append(add_bars(own, bars, steps).assign(part=part))
    table = pd.concat(tables, ignore_index=True)
    return pd.concat((table.pop("part"), table), axis=1)


def _build_whole_table(judged: Sequence[Judged], bars: Mapping[str, Bar]) -> pd.DataFrame:
    """The table of all that was judged."""
    rows = pd.concat((list_whole_run_rows(judged), summarise_runs(judged)), ignore_index=True)
    return add_bars(rows, bars, sum(one.real_steps for one in judged))


def find_set_name(judged: Judged) -> str:
    """Name of the data set that a case of real motion is of; empty where it gave no result."""
    return str(judged.errors["set"].iloc[0]) if len(judged.errors) else ""


def list_set_names(judged: Sequence[Judged]) -> list[str]:
    """Names of the data sets, in order; cases without a result stand under an empty one."""
    return sorted(
        {find_set_name(one) for one in judged}, key=lambda name: (name.split("-")[0], name)
    )


def find_set_bars(group: Group, name: str) -> Mapping[str, Bar]:
    """What is asked of one data set."""
    kind = "treadmill" if name.startswith("treadmill") else "overground"
    return BARS[group.bars if group.bars in BARS else kind] if group.bars else {}


def _order_by_number(text: str) -> tuple[float, str]:
    """Order of words by the number in them."""
    number = re.search(r"[0-9.]+", text)
    return (float(number[0]) if number else 0.0), text


def print_group(group: Group, judged: Sequence[Judged], table: pd.DataFrame) -> None:
    """Print all tables of a group; of its parts only the figures that bars are set on."""
    steps = sum(one.real_steps for one in judged)
    print(f"\n== {group.name}: {group.what}")
    print(f"{len(judged)} runs, {steps} steps")
    for one in judged:
        if one.failed:
            print(f"no result: {one.failed}")
    for part, own in table.groupby("part", sort=False):
        if part != "all":
            print(f"-- {part}")
        if part != "all" and not group.by_set:
            own = own[own["figure"].isin(list(BARS["simulated"]))]
        _print_table(own.drop(columns="part"))


def _print_table(table: pd.DataFrame) -> None:
    short = {
        "within_2u_percent": "within_2u",
        "within_low_percent": "low",
        "within_high_percent": "high",
        "within_2u_repeat_percent": "within_2rep",
        "median_u_repeat": "median_rep",
        "independent": "contacts",
    }
    shown = [short[name] for name in short if name.endswith("percent")]
    percent: dict[str, Any] = dict.fromkeys(shown, "{:.1f}".format)
    percent["contacts"] = lambda x: "" if np.isnan(x) else f"{x:.0f}"
    print(
        table.rename(columns=short).to_string(
            index=False,
            na_rep="",
            formatters=percent,
            float_format=lambda x: f"{x:.4f}" if abs(x) < 1.0 else f"{x:.3f}",
            line_width=240,
        )
    )


# --- Command line --------------------------------------------------------------------------------


def _make_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--list", action="store_true", help="list the groups")
    parser.add_argument("--group", action="append", metavar="PATTERN", help="group, or pattern")
    parser.add_argument("--all", action="store_true", help="all groups")
    parser.add_argument("--csv-dir", type=Path, help="write one CSV per group and summary.csv here")
    parser.add_argument("--jobs", type=int, default=1, help="worker processes")
    parser.add_argument("--count", type=int, default=24, help="simulated runs of each group")
    parser.add_argument("--limit", type=int, default=0, help="at most about so many real cases")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--verbose", action="store_true", help="a line per run")
    own = parser.add_argument_group("a group of one's own")
    own.add_argument("--real", action="store_true", help="real motion with a force plate")
    own.add_argument("--grade", default="mid")
    own.add_argument("--rate", type=float, default=500.0, help="sampling rate in Hz")
    own.add_argument("--shock", choices=("none", "weak", "strong"), help="touchdown shock")
    own.add_argument("--sites", default="all", choices=("all", "shank", "foot", "left"))
    own.add_argument("--csv", type=Path, help="write its table here too")
    return parser


def _choose_groups(given: argparse.Namespace) -> tuple[Group, ...]:
    if given.all:
        return tuple(GROUPS.values())
    if given.group:
        return tuple(choose_groups(given.group))
    group = GROUPS["real" if given.real else "simulated"]
    shock = None if given.real and given.shock == "none" else given.shock
    recipe = replace(
        group.recipe, grade=given.grade, rate_hz=given.rate, impact=shock, sites=given.sites
    )
    usual = recipe == group.recipe
    return (
        group
        if usual
        else replace(group, recipe=recipe, bars="", what="Changed by the options given."),
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = _make_parser()
    given = parser.parse_args(arguments)
    if given.list:
        width = max(map(len, GROUPS))
        print("\n".join(f"{name:{width}s}  {group.what}" for name, group in GROUPS.items()))
        return 0
    try:
        groups = _choose_groups(given)
    except ValueError as error:
        parser.error(str(error))
    if given.csv_dir:
        given.csv_dir.mkdir(parents=True, exist_ok=True)
    judged = run_sweep(
        Sweep(groups, given.count, given.limit, given.seed), given.jobs, given.verbose
    )
    lines = []
    for group in groups:
        own = judged[group.name]
        table = build_group_table(group, own)
        print_group(group, own, table)
        for part in list_set_names(own) if group.by_set else ["all"]:
            cases = [o for o in own if not group.by_set or find_set_name(o) == part]
            whole = table[table["part"] == part]
            name = f"{group.name} {part}" if group.by_set else group.name
            lines.append(
                build_group_line(name, whole, len(cases), sum(bool(o.failed) for o in cases))
            )
        for path in (given.csv, given.csv_dir and given.csv_dir / f"{group.name}.csv"):
            if path:
                table.to_csv(path, index=False)
    together = pd.DataFrame(lines)
    print("\n== All groups")
    print(together.to_string(index=False, na_rep="", float_format="{:.2f}".format))
    if given.csv_dir:
        together.to_csv(given.csv_dir / "summary.csv", index=False)
    return 0


if __name__ == "__main__":
    sys.exit(main())
