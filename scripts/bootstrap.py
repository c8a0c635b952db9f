"""An environment for the scripts of this folder: made when needed, used again while it fits.

Standard library only. The environment is ``.venv`` in the repository folder, or the folder that
the variable IMUPROC_VENV names.
"""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

REPO = Path(__file__).resolve().parent.parent
VARIABLE = "IMUPROC_VENV"
STAMP = ".imuproc-stamp"


def find_environment_folder() -> Path:
    """Where the environment is or will be."""
    named = os.environ.get(VARIABLE)
    return Path(named).expanduser().resolve() if named else REPO / ".venv"


def find_python(folder: Path) -> Path:
    """The interpreter of an environment on this operating system."""
    return folder / "Scripts" / "python.exe" if os.name == "nt" else folder / "bin" / "python"


def prepare_environment(extra: str = "") -> Path:
    """Interpreter of an environment that holds imuproc and what it needs.

    Parameters
    ----------
    extra : str
        Name of an extra in pyproject.toml, such as ``test``.

    Returns
    -------
    Path
        Ends the script with one clear sentence when the environment cannot be made.
    """
    folder = find_environment_folder()
    python, stamp = find_python(folder), folder / STAMP
    wanted = _list_stamp_lines(extra)
    if _is_new_enough(python) and stamp.is_file():
        held = stamp.read_text(encoding="utf-8").splitlines()
        if set(wanted) <= set(held):
            return python
    print(f"Setting up {folder} (once; needs the internet)", file=sys.stderr, flush=True)
    _make_environment(folder, python)
    stamp.unlink(missing_ok=True)
    _install_package(python, extra)
    stamp.write_text("\n".join(wanted) + "\n", encoding="utf-8")
    return python


def _list_stamp_lines(extra: str) -> list[str]:
    """What the environment must have been made for: these sources, this folder, this extra."""
    digest = hashlib.sha256((REPO / "pyproject.toml").read_bytes()).hexdigest()
    base = f"{digest} {REPO}"
    return [base, f"{base} {extra}"] if extra else [base]


def _is_new_enough(python: Path) -> bool:
    """Whether the interpreter is there, starts, and is new enough."""
    if not python.exists():
        return False
    check = "import sys; sys.exit(sys.version_info < (3, 11))"
    return subprocess.run([python, "-c", check], check=False).returncode == 0


def _make_environment(folder: Path, python: Path) -> None:
    if _is_new_enough(python):
        return
    options = []
    if folder.exists() and any(folder.iterdir()):
        if not (folder / "pyvenv.cfg").is_file():
            sys.exit(
                f"{folder} is there and is no Python environment; move it away, or set "
                f"{VARIABLE} to another folder"
            )
        options = ["--clear"]  # an environment whose interpreter is gone or too old
    command = [sys.executable, "-m", "venv", *options, folder]
    made = subprocess.run(command, capture_output=True, text=True, check=False)
    if made.returncode:
        sys.exit(
            f"The environment {folder} could not be made. On Debian and Ubuntu the package "
            f"python3-venv may be missing.\n{_keep_last_lines(made.stdout + made.stderr)}"
        )


def _install_package(python: Path, extra: str) -> None:
    target = f"{REPO}[{extra}]" if extra else str(REPO)
    options = ["--quiet", "--disable-pip-version-check", "--no-input"]
    if extra == "test":  # its packages take a minute to compile, and most modules are never loaded
        options.append("--no-compile")
    installed = subprocess.run(
        [python, "-m", "pip", "install", *options, "--editable", target],
        capture_output=True,
        text=True,
        check=False,
    )
    if installed.returncode:
        sys.exit(
            "The packages could not be installed; is there an internet connection?\n"
            + _keep_last_lines(installed.stdout + installed.stderr)
        )


def _keep_last_lines(text: str, count: int = 8) -> str:
    return "\n".join(text.strip().splitlines()[-count:])
