"""What things cost, as ratios measured in one run: nothing here depends on how fast the machine is.

    python scripts/bench.py              every ratio
    python scripts/bench.py filter csv   some of them

``filter``  arrays of one run (4 sensors, 15 s, 1000 Hz) -> result, over what the general
            orientation filter vqf (offlineVQF, its compiled form) takes on the same four logs
``csv``     what reading four CSV files and making the result takes beyond the result itself, over
            what parsing the files with pyarrow takes
``length``  cost per sample of logs from 30 s to ``--longest`` s in which the same run comes every
            30 s, over that of one run alone. A log of 10 s holds a whole run too, cut short at its
            end: its samples are a third and its work is not, so it is told per run
``workers`` one worker over two, on half a squad's session (160 copies of one run). A machine
            shared with others changes its pace within minutes: each time of one worker is held
            against those of two just before and after it, and the median of such ratios counts
``help``    ``imuproc --help`` over ``python -c pass``
``memory``  largest resident memory of a worker for runs of 30 s at 1000 Hz, in MB
``report``  24 runs of 15 s at 500 Hz with pages, pictures and spreadsheet, over the same without,
            in processor time of one worker
``long``    ``imuproc process`` on CSV logs of 15 minutes and more (4 sensors, 1000 Hz, a run every
            minute) up to ``--longest`` s: time over that of half the length, and memory in MB

Each cost is the least of several repeats, the repeats of both sides taken in turn. What runs in
this process is measured in processor time, which other work on the machine disturbs less.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

# As at a user's, a process does not compile what another one has compiled before.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

import numpy as np  # noqa: E402

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import imuproc  # noqa: E402
from imuproc.core.recording import Recording, SensorLog  # noqa: E402
from imuproc.core.sites import Site  # noqa: E402
from imuproc.files.toml_writing import format_toml  # noqa: E402
from imuproc.synth.plan import draw_plan  # noqa: E402
from imuproc.synth.runs import simulate_run  # noqa: E402

SEED = 20_310_412


def make_one_run(duration_s: float, rate_hz: float, stand_before_s: float = 3.0) -> Recording:
    """A made-up block start cut to a duration: standing, 40 m, slowing, standing as far as fits."""
    rng = np.random.default_rng(SEED)
    plan = replace(
        draw_plan(rng, "blocks", 40.0),
        stand_before_s=stand_before_s,
        stand_after_s=max(20.0, duration_s - 20.0),
    )
    recording, _ = simulate_run(plan, "mid", rate_hz, rng)
    count = round(duration_s * rate_hz)
    if min(len(log.time_s) for log in recording.logs.values()) < count:
        raise ValueError(f"the run made is shorter than {duration_s:g} s")
    return replace(recording, logs={s: log.take(slice(count)) for s, log in recording.logs.items()})


def measure_span_s(recording: Recording) -> float:
    """From one copy of a run to the next in a log of many.

    The same for all sensors: else their clocks would drift apart from run to run.
    """
    logs = recording.logs.values()
    return float(max(np.ptp(log.time_s) + np.median(np.diff(log.time_s)) for log in logs))


def repeat_recording(recording: Recording, times: int) -> Recording:
    """A long log: the same run again and again. It stands at both ends, so the ends fit."""
    logs: dict[Site, SensorLog] = {}
    for site, log in recording.logs.items():
        shifts = np.repeat(measure_span_s(recording) * np.arange(times), len(log.time_s))
        logs[site] = replace(
            log,
            time_s=np.tile(log.time_s, times) + shifts,
            accel_mps2=np.tile(log.accel_mps2, (times, 1)),
            gyro_radps=np.tile(log.gyro_radps, (times, 1)),
        )
    return replace(recording, logs=logs)


def measure_least_s(
    sides: Mapping[str, Callable[[], object]],
    repeats: int,
    clock: Callable[[], float] = time.process_time,
) -> dict[str, float]:
    """Least time of each side over repeats taken in turn, in s."""
    best = dict.fromkeys(sides, np.inf)
    for _ in range(repeats):
        for name, call in sides.items():
            best[name] = min(best[name], _measure_call_s(call, clock))
    return best


def _measure_call_s(call: Callable[[], object], clock: Callable[[], float]) -> float:
    begin = clock()
    call()
    return clock() - begin


def measure_filter_ratio() -> None:
    """Arrays to result against the general orientation filter."""
    import vqf

    recording = make_one_run(15.0, 1000.0)
    logs = [
        (np.ascontiguousarray(log.gyro_radps), np.ascontiguousarray(log.accel_mps2))
        for log in recording.logs.values()
    ]
    imuproc.process(recording)
    best = measure_least_s(
        {
            "ours": lambda: imuproc.process(recording),
            "vqf": lambda: [vqf.offlineVQF(gyro, accel, None, 0.001) for gyro, accel in logs],
        },
        repeats=21,
    )
    _print_ratio("filter", best["ours"] / best["vqf"], "at most 5, aim at 1")


def write_session(folder: Path, recording: Recording, runs: int, copies: int = 1) -> Path:
    """A session on disk whose runs are the same log, which holds a recording again and again."""
    (folder / "logs").mkdir(parents=True)
    for site, log in recording.logs.items():
        _write_log(
            folder / "logs" / f"{site}.csv", log, measure_span_s(recording) * np.arange(copies)
        )
    content = {
        "schema": 1,
        "session": {"id": "bench", "date": date(2031, 4, 12), "surface": "track"},
        "layout": {
            "plain": {
                "format": "delimited",
                "time": {"column": "time_s", "unit": "s"},
                "accel": {"columns": ["ax", "ay", "az"], "unit": "m/s^2", "range": 313.8},
                "gyro": {"columns": ["gx", "gy", "gz"], "unit": "rad/s", "range": 34.906},
            }
        },
        "athlete": [{"id": "R07", "stature_m": 1.78}],
        "run": [
            {
                "id": f"R07-{number:02d}",
                "athlete": "R07",
                "start": "blocks",
                "layout": "plain",
                "clock": "shared",
                "logs": {site: f"logs/{site}.csv" for site in recording.logs},
            }
            for number in range(1, runs + 1)
        ],
    }
    path = folder / "session.toml"
    path.write_text(format_toml(content), encoding="utf-8")
    return path


def _write_log(path: Path, log: SensorLog, shifts_s: Iterable[float]) -> None:
    """A log again and again, each time later; written one by one, whatever the length."""
    from pyarrow import csv, table

    columns = np.column_stack((log.time_s, log.accel_mps2, log.gyro_radps)).round(6)
    names = ("time_s", "ax", "ay", "az", "gx", "gy", "gz")
    once = table(dict(zip(names, columns.T, strict=True)))
    with csv.CSVWriter(path, once.schema) as out:
        for shift_s in shifts_s:
            out.write(once.set_column(0, "time_s", [(log.time_s + shift_s).round(6)]))


def measure_csv_ratio() -> None:
    """Reading the files and making the result, against parsing alone."""
    from pyarrow import csv

    with tempfile.TemporaryDirectory() as scratch:
        path = write_session(Path(scratch) / "session", make_one_run(15.0, 1000.0), 1)
        files = sorted((path.parent / "logs").iterdir())
        session = imuproc.read_session(path)
        recording = session.read_run("R07-01")
        imuproc.process(recording)
        options = csv.ReadOptions(use_threads=False)
        best = measure_least_s(
            {
                "whole": lambda: imuproc.process(session.read_run("R07-01")),
                "arrays": lambda: imuproc.process(recording),
                "parse": lambda: [csv.read_csv(file, read_options=options) for file in files],
                "read": lambda: session.read_run("R07-01"),
            },
            repeats=21,
        )
    beyond = best["whole"] - best["arrays"]
    _print_ratio("csv", beyond / best["parse"], "at most 2")
    _print_ratio("csv: reading alone", best["read"] / best["parse"], "")


def measure_length_ratios(longest_s: float) -> None:
    """Cost per sample against length of the log."""
    # As much standing before a run alone as between two runs: else a longer log has more of it.
    rate_hz, base = 200.0, make_one_run(30.0, 200.0, stand_before_s=7.0)
    _print_ratio(
        "length 10 s, per run", _measure_cost(make_one_run(10.0, rate_hz), base, 9), "at most 1.1"
    )
    for length_s in (60.0, 120.0, 600.0, 1800.0, 7200.0):
        if length_s > longest_s:
            break
        times, repeats = int(length_s) // 30, 5 if length_s < 1000.0 else 1
        ratio = _measure_cost(repeat_recording(base, times), base, repeats) / times
        _print_ratio(f"length {length_s:g} s", ratio, "0.9 to 1.1")


def _measure_cost(recording: Recording, base: Recording, repeats: int) -> float:
    """What a recording takes over what another one takes."""
    sides = {
        "this": lambda: imuproc.process(recording),
        "base": lambda: [imuproc.process(base) for _ in range(5)],
    }
    spent = measure_least_s(sides, repeats)
    return spent["this"] / (spent["base"] / 5)


def measure_worker_ratio() -> None:
    """One worker against two, on a session of 160 runs, tables and archives only."""
    with tempfile.TemporaryDirectory() as scratch:
        path = write_session(Path(scratch) / "session", make_one_run(15.0, 1000.0), 160)
        command = [sys.executable, "-m", "imuproc", "process", str(path), "--quiet", "--no-report"]
        first = ("-o", str(Path(scratch) / "first"), "--run", "R07-01", "--jobs", "1")
        subprocess.run([*command, *first], check=True)  # else the first of the two compiles

        def process_with(jobs: str) -> Callable[[], object]:
            def process() -> None:
                with tempfile.TemporaryDirectory(dir=scratch) as out:
                    subprocess.run([*command, "-o", out, "--jobs", jobs], check=True)

            return process

        one, two = process_with("1"), process_with("2")
        before_s, ratios = _measure_call_s(two, time.perf_counter), []
        for _ in range(3):
            one_s, after_s = (_measure_call_s(work, time.perf_counter) for work in (one, two))
            ratios.append(2.0 * one_s / (before_s + after_s))
            before_s = after_s
    _print_ratio("workers", float(np.median(ratios)), "at least 1.7")
    _print_ratio("workers: least of 3", min(ratios), "")
    _print_ratio("workers: most of 3", max(ratios), "")


def measure_help_ratio() -> None:
    """Start-up of the command line against that of bare Python."""

    def make_call(*arguments: str) -> Callable[[], object]:
        return lambda: subprocess.run(
            [sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL
        )

    sides = {"help": make_call("-m", "imuproc", "--help"), "bare": make_call("-c", "pass")}
    best = measure_least_s(sides, repeats=9, clock=time.perf_counter)
    _print_ratio("help", best["help"] / best["bare"], "at most 12")


def report_ratio() -> None:
    """A squad's runs with their report over the same without."""
    with tempfile.TemporaryDirectory() as scratch:
        path = write_session(Path(scratch) / "session", make_one_run(15.0, 500.0), 24)
        ratios = []
        for turn in range(3):
            without_s, _ = _process_alone(path, Path(scratch) / f"without-{turn}")
            with_s, _ = _process_alone(path, Path(scratch) / f"with-{turn}", report=True)
            ratios.append(with_s / without_s)
    _print_ratio("report", float(np.median(ratios)), "at most 1.5")


def measure_memory() -> None:
    """Largest resident memory of a process that works through runs of 30 s."""
    with tempfile.TemporaryDirectory() as scratch:
        path = write_session(Path(scratch) / "session", make_one_run(30.0, 1000.0), 3)
        _, largest_mb = _process_alone(path, Path(scratch) / "out")
    _print_ratio("memory in MB", largest_mb, "below 400")


def measure_long_ratios(longest_s: float) -> None:
    """Time and memory of whole training sessions in one log each."""
    base = make_one_run(60.0, 1000.0, stand_before_s=7.0)
    before_s = None
    for minutes in (15, 30, 60, 120):
        if 60.0 * minutes > longest_s:
            break
        with tempfile.TemporaryDirectory() as scratch:
            path = write_session(Path(scratch) / "session", base, 1, minutes)
            out = Path(scratch) / "out"
            spent_s, largest_mb = _process_alone(path, out)
            with (out / "runs.csv").open(encoding="utf-8") as table:
                runs = sum(1 for _ in table) - 1
        if before_s is not None:
            _print_ratio(f"long {minutes} min", spent_s / before_s, "at most 2.1")
        _print_ratio(f"long {minutes} min: memory in MB", largest_mb, "below 1500")
        print(f"  {spent_s:.0f} s of processor time, {runs} runs", flush=True)
        before_s = spent_s


_MEASURED = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], check=True)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0)
"""


def _process_alone(session: Path, out: Path, report: bool = False) -> tuple[float, float]:
    """Processor time in s and largest resident memory in MB of processing by one process.

    A process that is begun counts what the process that began it held as its own (Linux, measured),
    so a small one begins it.
    """
    command = ["-m", "imuproc", "process", str(session), "-o", str(out), "--quiet"]
    command += [] if report else ["--no-report"]
    told = subprocess.run(
        [sys.executable, "-c", _MEASURED, sys.executable, *command, "--jobs", "1"],
        check=True,
        stdout=subprocess.PIPE,
        text=True,
    )
    spent_s, largest_mb = told.stdout.split()[-2:]
    return float(spent_s), float(largest_mb)


def _print_ratio(name: str, ratio: float, bar: str) -> None:
    print(f"{name:24s} {ratio:8.2f}" + (f"   ({bar})" if bar else ""), flush=True)


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    names = ("memory", "filter", "csv", "length", "workers", "help", "report", "long")
    parser.add_argument("what", nargs="*", default=[], help=f"of {', '.join(names)}")
    parser.add_argument("--longest", type=float, default=7200.0, help="longest log in s")
    given = parser.parse_args()
    unknown = [name for name in given.what if name not in names]
    if unknown:
        parser.error(f"{', '.join(unknown)}: not one of {', '.join(names)}")
    calls: dict[str, Callable[[], None]] = {
        "memory": measure_memory,
        "filter": measure_filter_ratio,
        "csv": measure_csv_ratio,
        "length": lambda: measure_length_ratios(given.longest),
        "workers": measure_worker_ratio,
        "help": measure_help_ratio,
        "report": report_ratio,
        "long": lambda: measure_long_ratios(given.longest),
    }
    for name in names:
        if not given.what or name in given.what:
            calls[name]()
    return 0


if __name__ == "__main__":
    sys.exit(main())
