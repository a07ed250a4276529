"""Set diewright up on a fresh machine and start it.

    python3 desk.py demo    sets up, works the demo job, opens its book in the browser
    python3 desk.py test    sets up, runs the linters, the type check and all tests

Needs Python 3.11 or newer with pip and venv, nothing else. Anything after the word is passed on.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
STAMP = VENV / "set-up-for"


def main() -> int:
    """Set up what is asked for and hand over to it."""
    word, rest = (sys.argv[1], sys.argv[2:]) if len(sys.argv) > 1 else ("", [])
    if word not in ("demo", "test", "setup"):
        print(__doc__)
        return 0 if word in ("", "-h", "--help") else 2
    if sys.version_info < (3, 11):
        print(f"diewright needs Python 3.11 or newer; this is {sys.version.split()[0]}. Start it as: python3.11 desk.py {word}")
        return 2
    try:
        system_libraries(browser=word == "test")
        environment("requirements-dev.lock" if word == "test" else "requirements.lock")
    except subprocess.CalledProcessError as error:
        print(
            f"Setting up stopped: '{' '.join(map(str, error.cmd[:6]))} ...' ended with code {error.returncode}. Mend what it says above and start again."
        )
        return 1
    except KeyboardInterrupt:
        return 130
    if word == "demo":
        return run(str(BIN / "diewright"), "demo", *(rest or ["demo-job"]))
    return tests(rest) if word == "test" else 0


def run(*command: str) -> int:
    """Run a command in the project's folder and return its exit code."""
    try:
        return subprocess.run(command, cwd=ROOT, check=False).returncode
    except KeyboardInterrupt:
        return 130


def tests(rest: list[str]) -> int:
    """Linters, types, tests; the first that fails decides."""
    for name, command in (
        ("ruff", [str(PYTHON), "-m", "ruff", "check", "."]),
        ("format", [str(PYTHON), "-m", "ruff", "format", "--check", "."]),
        ("types", [str(PYTHON), "-m", "mypy"]),
        ("tests", [str(PYTHON), "-m", "pytest", *rest]),
    ):
        print(f"== {name}", flush=True)
        code = run(*command)
        if code:
            return code
    return 0


def system_libraries(*, browser: bool) -> None:
    """Install missing system libraries where that is allowed, else say the exact command in one line and go on."""
    spec = importlib.util.spec_from_file_location("machine", ROOT / "src" / "diewright" / "machine.py")
    assert spec is not None
    assert spec.loader is not None
    machine = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(machine)
    missing = machine.missing_packages(browser=browser)
    if not missing:
        return
    if hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("apt-get"):
        print(f"Installing system libraries: {' '.join(missing)}", flush=True)
        quiet = {"stdout": subprocess.DEVNULL, "env": {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}}
        subprocess.run(["apt-get", "update", "-qq"], check=False, **quiet)
        subprocess.run(["apt-get", "install", "-y", "-qq", *missing], check=True, **quiet)
    else:
        print(
            f"System libraries are missing; CAD reading and pictures need them. Install them with:  {machine.install_command(missing)}",
            flush=True,
        )


def environment(lock: str) -> None:
    """Make the virtual environment with the locked packages, unless it is already as it should be."""
    wanted = hashlib.sha256(b"".join((ROOT / f).read_bytes() for f in (lock, "pyproject.toml")) + sys.version.encode()).hexdigest()
    before = STAMP.read_text().split() if STAMP.is_file() else []
    if wanted in before and PYTHON.exists():
        return
    began = time.monotonic()
    if not PYTHON.exists():
        print("Making the environment in .venv", flush=True)
        if subprocess.run([sys.executable, "-m", "venv", str(VENV)], check=False).returncode:
            shutil.rmtree(VENV, ignore_errors=True)
            print("This Python cannot make environments. On Debian and Ubuntu: apt-get install python3-venv", flush=True)
            raise subprocess.CalledProcessError(1, ["python3", "-m", "venv", ".venv"])
    count = sum(line[:1].isalnum() for line in (ROOT / lock).read_text().splitlines())
    print(f"Installing {count} packages (a minute or two)", flush=True)
    pip("install", "-r", str(ROOT / lock))
    pip("install", "--no-deps", "-e", str(ROOT))
    STAMP.write_text("\n".join([wanted] if lock.startswith("requirements.") else [wanted, *before]))
    print(f"Set up in {time.monotonic() - began:.0f} s", flush=True)


def pip(*arguments: str) -> None:
    """Run pip, showing one moving line instead of its talk; its last lines are shown if it fails."""
    command = [str(PYTHON), "-m", "pip", "--disable-pip-version-check", *arguments]
    lines: list[str] = []
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        assert process.stdout is not None
        for line in process.stdout:
            lines.append(line.rstrip())
            if line.startswith("Collecting"):
                print(f"\r  {line.split()[1]:<60.60}", end="", flush=True)
            elif line.startswith("Installing collected"):
                print(f"\r  {'putting them in place':<60}", end="", flush=True)
    print("\r" + " " * 64 + "\r", end="", flush=True)
    if process.returncode:
        print("\n".join(lines[-12:]))
        raise subprocess.CalledProcessError(process.returncode, command)


if __name__ == "__main__":
    sys.exit(main())
