#!/usr/bin/env python3
"""Set up what is missing, then serve the shop. Needs Python 3.11 and pip, nothing else.

python3 start.py [--empty] [--lan] [--port N] [--home DIR]
"""

from __future__ import annotations

import argparse
import ctypes
import hashlib
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent

# What the PDF renderer loads from the system: library and the package that brings it.
PDF_LIBRARIES = {
    "libpango-1.0.so.0": "libpango-1.0-0",
    "libpangoft2-1.0.so.0": "libpangoft2-1.0-0",
    "libharfbuzz-subset.so.0": "libharfbuzz-subset0",
}


def say(line: str) -> None:
    print(line, flush=True)


def refuse_old_python() -> None:
    version = sys.version.split()[0]
    if sys.version_info < (3, 11):  # noqa: UP036  (whoever has an older one shall read why it ends)
        sys.exit(f"Bareframe needs Python 3.11 or newer; this is {version}. Start it with a newer python3.")
    if not sys.platform.startswith("linux"):
        sys.exit("Bareframe runs on Linux; start it there.")


def fingerprint(requirements: Path) -> str:
    """What an installed environment was made from; another value means it must be made anew."""
    return f"{hashlib.sha256(requirements.read_bytes()).hexdigest()} {sys.version.split()[0]}"


def prepare(venv: Path, requirements: Path) -> bool:
    """Make ``venv`` hold exactly what ``requirements`` locks; True when there was something to do."""
    stamp = venv / "installed-from"
    wanted = fingerprint(requirements)
    if stamp.is_file() and stamp.read_text(encoding="ascii") == wanted:
        return False
    stamp.unlink(missing_ok=True)
    make_venv(venv)
    install(venv, requirements)
    unfinished = stamp.with_suffix(".new")
    unfinished.write_text(wanted, encoding="ascii")
    unfinished.replace(stamp)
    return True


def make_venv(venv: Path) -> None:
    python = venv / "bin" / "python"
    version = "import sys; print(sys.version.split()[0])"
    if python.exists():
        found = subprocess.run([python, "-c", version], capture_output=True, text=True)
        if found.stdout.strip() == sys.version.split()[0]:
            return
    say(f"Making {venv.name} ...")
    # Without pip: Debian leaves out what would put it there. The system's pip installs into it from outside.
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", "--clear", venv], check=True)


def install(venv: Path, requirements: Path) -> None:
    total = sum(line[:1].isalnum() for line in requirements.read_text(encoding="utf-8").splitlines())
    say(f"Installing {total} packages; this takes a minute or so, once ...")
    command = [sys.executable, "-m", "pip", "--python", str(venv / "bin" / "python"), "install", "--require-hashes"]
    command += ["--progress-bar", "off", "--root-user-action", "ignore", "--disable-pip-version-check"]
    with subprocess.Popen(
        [*command, "-r", str(requirements)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as pip:
        tail = follow(pip, total)
    if pip.returncode:
        say("\n".join(tail))
        if any("No module named pip" in line for line in tail):
            sys.exit("pip is missing. Install it (on Debian: apt-get install python3-pip), then start again.")
        sys.exit("The packages could not be installed: the lines above say why. Start again to go on from there.")


def follow(pip: subprocess.Popen[str], total: int) -> list[str]:
    """Say every few seconds how far pip is; returns its last lines, which are shown if it fails."""
    tail: list[str] = []
    found, said = 0, time.monotonic()
    for line in pip.stdout or ():
        tail = [*tail[-19:], line.rstrip()]
        found += line.startswith(("Collecting ", "Requirement already satisfied"))
        if line.startswith("Installing collected"):
            say("  all there, unpacking ...")
        elif line.startswith("Collecting ") and time.monotonic() - said > 4:
            said = time.monotonic()
            say(f"  {min(found, total)} of {total}")
    return tail


def missing_packages() -> list[str]:
    missing = []
    for library, package in PDF_LIBRARIES.items():
        try:
            ctypes.CDLL(library)
        except OSError:
            missing.append(package)
    return missing


def prepare_system(*, may_install: bool) -> None:
    """PDFs need three system libraries. Everything else works without, so their absence stops nothing."""
    missing = missing_packages()
    if missing and may_install and os.geteuid() == 0 and shutil.which("apt-get"):
        say("Installing what PDFs need from the system ...")
        apt_install(missing)
        missing = missing_packages()
    if missing:
        say("PDFs cannot be made yet, all else works. As root, run once:")
        say(f"  apt-get update && apt-get install -y --no-install-recommends {' '.join(missing)}")


def apt_install(packages: list[str]) -> None:
    apt = ["apt-get", "-qq", "-o", "Acquire::http::Timeout=15", "-o", "Acquire::Retries=1"]
    environment = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
    for command in ([*apt, "update"], [*apt, "install", "-y", "--no-install-recommends", *packages]):
        done = subprocess.run(command, env=environment, capture_output=True, text=True)
        if done.returncode:
            say("\n".join(f"  {line}" for line in done.stderr.splitlines()[-3:]))


def prepare_home(home: Path) -> None:
    try:
        home.mkdir(parents=True, exist_ok=True)
        writable = os.access(home, os.W_OK | os.X_OK)
    except OSError:
        writable = False
    if not writable:
        sys.exit(
            f"{home} cannot be written. Give another folder with --home, or this account the right to write there."
        )


def options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Set up what is missing, then serve the shop.", allow_abbrev=False)
    parser.add_argument("--empty", action="store_true", help="begin with an empty shop, without the example workshop")
    parser.add_argument("--lan", action="store_true", help="serve HTTPS to the devices on the local network")
    parser.add_argument("--port", type=int, default=8000, help="port to serve on (default 8000)")
    parser.add_argument("--home", type=Path, help="folder for the database and documents (default: data)")
    return parser.parse_args()


def main() -> None:
    refuse_old_python()
    chosen = options()
    prepare_home(chosen.home or Path(os.environ.get("BAREFRAME_HOME", ROOT / "data")))
    venv = ROOT / ".venv"
    fresh = prepare(venv, ROOT / "requirements.txt")
    prepare_system(may_install=fresh)
    if chosen.home:
        os.environ["BAREFRAME_HOME"] = str(chosen.home.resolve())
    flags = [f"--{name}" for name in ("empty", "lan") if getattr(chosen, name)]
    python = str(venv / "bin" / "python")
    os.execv(python, [python, str(ROOT / "manage.py"), "up", "--port", str(chosen.port), *flags])


if __name__ == "__main__":
    main()
