"""Spoil logs and session files again and again: the command must always end well.

    python scripts/fuzz.py                        20 000 cases
    python scripts/fuzz.py --count 500 --only session --only delimited
    python scripts/fuzz.py --case session:1234    one case again, with what the command said

A case takes a small session that works, spoils one of its files (fuzz_mutations.py) and calls
``imuproc process`` or ``imuproc check`` on it. It counts as a fault when

- a traceback comes out, or an error that the program did not foresee is told as a run's reason;
- it takes more than 5 s (processor time of the case, and a watchdog over it);
- the exit code is wrong: a spoiled log must never cost the session (code 2); code 1 must go with
  runs that are named as failed or not fit, 0 with none, and 2 with a sentence and without tables;
- the output folder holds a half-written file.

Faults are listed with the name that runs the same case again. Exit code: 0 none, 1 some.
"""

import argparse
import contextlib
import io
import json
import os
import random
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

REPO = Path(__file__).resolve().parents[1]
sys.path.append(str(REPO))  # after PYTHONPATH, where workers find the package as it was

import numpy as np  # noqa: E402

from scripts.lab.fuzz_mutations import spoil_content  # noqa: E402
from tests.readers.xdf_files import Stream, xdf  # noqa: E402

LONGEST_S: Final = 5.0
_MEMORY_BYTES: Final = 6 * 2**30
_PER_WORKER: Final = 250
FORMATS: Final = ("delimited", "hdf5", "parquet", "bids-motion", "xdf")
TEXT_SUFFIXES: Final = (".csv", ".toml", ".tsv", ".json", ".md")


@dataclass(frozen=True)
class Case:
    """One spoiled file: ``target`` names what is spoiled, ``seed`` how."""

    target: str
    seed: int

    @property
    def name(self) -> str:
        """What ``--case`` takes."""
        return f"{self.target}:{self.seed}"


@dataclass(frozen=True)
class Seen:
    """How a call of the command ended."""

    code: int
    text: str
    seconds: float


def make_base_sessions(folder: Path) -> None:
    """Small sessions that work, one per format, in a folder of its name."""
    first = folder / "delimited"
    _run_imuproc("simulate", first, "--rate", 100, "--athletes", 1, "--runs", 1, "--distance", 10)
    _keep_left_leg(first)
    for name in FORMATS[1:-1]:
        _run_imuproc("convert", first / "session.toml", "-o", folder / name, "--to", name)
    _write_as_xdf(first, folder / "xdf")


def freeze_code(folder: Path) -> None:
    """A copy of the package, so that nobody edits it on the way."""
    ignored = shutil.ignore_patterns("__pycache__")
    shutil.copytree(REPO / "imuproc", folder / "code" / "imuproc", ignore=ignored)


def _keep_left_leg(folder: Path) -> None:
    """Half the logs are enough here, and twice the cases can be tried."""
    head = folder / "session.toml"
    head.write_text(re.sub(r", right_\w+ = \"[^\"]*\"", "", head.read_text()))
    for log in (folder / "logs").glob("*_r?.csv"):
        log.unlink()
    shutil.rmtree(folder / "truth")


def _write_as_xdf(source: Path, folder: Path) -> None:
    """The same session with its logs as streams of one XDF file."""
    shutil.copytree(source, folder, ignore=shutil.ignore_patterns("*.csv"))
    streams = []
    for log in sorted((source / "logs").glob("*.csv")):
        values = np.loadtxt(log, delimiter=",", skiprows=1)
        columns = tuple(log.read_text().splitlines()[0].split(",")[1:])
        streams.append(Stream(log.stem, values[:, 0], values[:, 1:], columns))
    (folder / "logs" / "all.xdf").write_bytes(xdf(*streams))
    head = folder / "session.toml"
    text = re.sub(r"^time = .*\n", "", head.read_text(), flags=re.MULTILINE)
    text = text.replace('"delimited"', '"xdf"')
    one = r'{ file = "logs/all.xdf", select = "\1" }'
    head.write_text(re.sub(r'"logs/([^"]*)\.csv"', one, text))


def _run_imuproc(*arguments: object) -> None:
    command = [sys.executable, "-m", "imuproc", *map(str, arguments)]
    done = subprocess.run(command, cwd=REPO, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{' '.join(command)} failed:\n{done.stderr}")


def prepare_case(case: Case, bases: Path, place: Path) -> Path:
    """The session of a case, its file spoiled, in ``place``; returns the spoiled file."""
    draw = random.Random(case.name)
    kind = draw.choice(FORMATS) if case.target == "session" else case.target
    shutil.copytree(bases / kind, place)
    files = sorted(f for f in place.rglob("*") if f.is_file() and "truth" not in f.parts)
    head = place / "session.toml"
    spoiled = head if case.target == "session" else draw.choice([f for f in files if f != head])
    text = spoiled.suffix in TEXT_SUFFIXES
    spoiled.write_bytes(spoil_content(spoiled.read_bytes(), draw, text))
    return spoiled


def call_command(arguments: list[str]) -> Seen:
    """The command in this process: what it says and how it ends."""
    from imuproc.cli.main import main

    text = io.StringIO()
    begin, old = time.process_time(), sys.argv
    sys.argv = ["imuproc", *arguments]
    try:
        with contextlib.redirect_stdout(text), contextlib.redirect_stderr(text):
            main()
        code = 0
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else int(end.code is not None)
    except BaseException:  # noqa: BLE001  anything that gets out is what we are looking for
        code = -1
        text.write(traceback.format_exc())
    finally:
        sys.argv = old
    return Seen(code, text.getvalue(), time.process_time() - begin)


def list_faults(case: Case, seen: Seen, command: str, out: Path) -> list[str]:
    """What is wrong with the way a case ended."""
    faults = []
    if "Traceback" in seen.text or seen.code == -1:
        faults.append("traceback")
    if "unexpected" in seen.text:
        faults.append("an error that was not foreseen")
    if seen.seconds > LONGEST_S:
        faults.append(f"{seen.seconds:.1f} s")
    if seen.code not in (0, 1, 2):
        faults.append(f"exit code {seen.code}")
    if seen.code == 2 and case.target != "session":
        faults.append("a spoiled log cost the session")
    if seen.code == 2 and "imuproc: " not in seen.text and "Error" not in seen.text:
        faults.append("exit code 2 without a sentence")
    if command == "process":
        faults += _list_result_faults(seen, out)
    return faults


def _list_result_faults(seen: Seen, out: Path) -> list[str]:
    import pandas as pd

    faults = [f"left over: {f.name}" for f in out.rglob("*.part")] if out.exists() else []
    table = out / "runs.csv"
    if seen.code == 2:
        return [*faults, "exit code 2 with tables"] if table.exists() else faults
    if not table.exists():
        return [*faults, "no runs.csv"]
    runs = pd.read_csv(table)
    failed = int(runs["reason"].notna().sum())
    if (seen.code == 1) != (failed > 0):
        faults.append(f"exit code {seen.code} with {failed} failed runs")
    if seen.code == 1 and " failed: " not in seen.text:
        faults.append("exit code 1 and no run is named")
    return faults


def run_case(case: Case, bases: Path, scratch: Path) -> tuple[Seen, list[str]]:
    """One case from the copy of its session to the verdict."""
    place = Path(tempfile.mkdtemp(dir=scratch))
    try:
        prepare_case(case, bases, place / "s")
        session, out = str(place / "s" / "session.toml"), place / "out"
        if random.Random(case.seed).random() < 0.25:
            command, arguments = "check", ["check", session]
        else:
            command = "process"
            arguments = ["process", session, "-o", str(out), "--no-report", "--jobs", "1"]
        seen = call_command([*arguments, "--quiet"] if command == "process" else arguments)
        return seen, list_faults(case, seen, command, out)
    finally:
        shutil.rmtree(place, ignore_errors=True)


def work_on_cases(bases: Path, cases: list[Case]) -> None:
    """A worker: one line of JSON before and one after each case."""
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY_BYTES, _MEMORY_BYTES))
    with tempfile.TemporaryDirectory() as scratch:
        for case in cases:
            print(json.dumps({"begun": case.name}), flush=True)
            seen, faults = run_case(case, bases, Path(scratch))
            told = {"ended": case.name, "code": seen.code, "faults": faults, "s": seen.seconds}
            print(json.dumps(told), flush=True)


def watch_cases(folder: Path, cases: list[Case]) -> Iterator[dict[str, object]]:
    """Verdicts of cases worked on by a process that is given up when it hangs or dies."""
    environment = {**os.environ, "PYTHONPATH": str(folder / "code")}
    left = list(cases)
    while left:
        names = [case.name for case in left]
        command = [sys.executable, __file__, "--work", str(folder / "sessions"), *names]
        ended = 0
        with subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=environment
        ) as worker:
            for told in _read_lines_in_time(worker, 12.0 * LONGEST_S):
                if "ended" in told:
                    ended += 1
                    yield told
        if ended == len(left):
            return
        yield {
            "ended": left[ended].name,
            "code": None,
            "faults": ["hung or died"],
            "s": 12.0 * LONGEST_S,
        }
        left = left[ended + 1 :]


def _read_lines_in_time(
    worker: "subprocess.Popen[bytes]", longest_s: float
) -> Iterator[dict[str, object]]:
    """Lines of a worker; it is killed when none comes for too long."""
    import selectors

    if worker.stdout is None:
        return
    with selectors.DefaultSelector() as selector:
        selector.register(worker.stdout, selectors.EVENT_READ)
        while True:
            if not selector.select(timeout=longest_s):
                worker.kill()
                return
            line = worker.stdout.readline()
            if not line:
                return
            yield json.loads(line)


def main() -> int:
    """Run the cases and say what came of them."""
    arguments = _make_parser().parse_args()
    if arguments.work:
        work_on_cases(Path(arguments.work[0]), [_parse_case(name) for name in arguments.work[1:]])
        return 0
    with tempfile.TemporaryDirectory() as folder:
        bases = Path(folder) / "sessions"
        bases.mkdir()
        make_base_sessions(bases)
        wanted = arguments.only or ["session", *FORMATS]
        if arguments.case:
            return _show_case(_parse_case(arguments.case), bases)
        cases = [
            Case(wanted[n % len(wanted)], arguments.seed + n // len(wanted))
            for n in range(arguments.count)
        ]
        freeze_code(Path(folder))
        return _run_all(cases, Path(folder), arguments.jobs)


def _parse_case(name: str) -> Case:
    target, seed = name.rsplit(":", 1)
    return Case(target, int(seed))


def _show_case(case: Case, bases: Path) -> int:
    with tempfile.TemporaryDirectory() as scratch:
        seen, faults = run_case(case, bases, Path(scratch))
    print(seen.text)
    print(f"exit code {seen.code}, {seen.seconds:.2f} s; faults: {', '.join(faults) or 'none'}")
    return int(bool(faults))


def _run_all(cases: list[Case], folder: Path, jobs: int) -> int:
    from concurrent.futures import ThreadPoolExecutor

    blocks = [cases[at : at + _PER_WORKER] for at in range(0, len(cases), _PER_WORKER)]
    codes: Counter[tuple[str, object]] = Counter()
    slowest, faulty, done = 0.0, 0, 0
    with ThreadPoolExecutor(jobs) as threads:
        for verdicts in threads.map(lambda block: list(watch_cases(folder, block)), blocks):
            for told in verdicts:
                target = str(told["ended"]).rsplit(":", 1)[0]
                codes[target, told["code"]] += 1
                slowest = max(slowest, float(str(told["s"])))
                if told["faults"]:
                    faulty += 1
                    print(f"{told['ended']}: {'; '.join(map(str, told['faults']))}", flush=True)
            done += len(verdicts)
            print(f"{done} of {len(cases)}", file=sys.stderr, flush=True)
    for (target, code), count in sorted(codes.items(), key=str):
        print(f"{target:12} exit code {code}: {count}")
    print(f"{done} cases, slowest {slowest:.1f} s of processor time, {faulty} with faults")
    return int(faulty > 0 or done < len(cases))


def _make_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--only", action="append", help="session, delimited, hdf5, ...")
    parser.add_argument("--case", help="a case to run again and show, as session:1234")
    parser.add_argument("--work", nargs="+", help=argparse.SUPPRESS)
    return parser


if __name__ == "__main__":
    sys.exit(main())
