#!/usr/bin/env python3
"""Set up Halfsplit in its own folder and run it: the demo, `test` the tests, `docs` the site.

Needs only Python 3.11 and a network for packages. Everything goes into `.venv` beside this file.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent
ENVIRONMENT = ROOT / ".venv"
# Command -> Debian packages: the independent reference, and the browser the pages are tested in.
SYSTEM_PACKAGES = {"ngspice": ["ngspice"], "chromium": ["chromium", "fonts-dejavu-core"]}


def run(*command: str, quiet: bool = False) -> None:
    """Run a command and stop with its exit code if it fails."""
    print("$ " + " ".join(command), flush=True)
    stream = subprocess.PIPE if quiet else None
    done = subprocess.run(command, cwd=ROOT, stdout=stream, stderr=stream, text=True, check=False)
    if done.returncode:
        if quiet:
            print((done.stdout or "") + (done.stderr or ""))
        sys.exit(done.returncode)


def environment(extra: str) -> Path:
    """Make or refresh the virtual environment; returns its folder of programs."""
    programs = ENVIRONMENT / ("Scripts" if os.name == "nt" else "bin")
    if not (programs / "pip").exists() and not (programs / "pip.exe").exists():
        size = "1.1 GB" if extra else "600 MB"
        print(f"Making .venv; packages take about {size} …", flush=True)
        venv.create(ENVIRONMENT, with_pip=True, clear=ENVIRONMENT.exists())
    print("Installing or checking packages …", flush=True)
    target = f".[{extra}]" if extra else "."
    quiet = ("--quiet", "--disable-pip-version-check")
    run(str(programs / "pip"), "install", *quiet, "--editable", target, quiet=True)
    return programs


def system_packages() -> None:
    """Install what the tests need from the system, or say what to install and stop."""
    absent = [p for command, p in SYSTEM_PACKAGES.items() if not shutil.which(command)]
    missing = [package for packages in absent for package in packages]
    if not missing:
        return
    install = ["apt-get", "install", "-y", "--no-install-recommends", *missing]
    if shutil.which("apt-get") and hasattr(os, "geteuid") and os.geteuid() == 0:
        run("apt-get", "update", "-qq", quiet=True)
        run(*install, quiet=True)
    else:
        sys.exit(f"The tests need {', '.join(missing)}. Install first: sudo {' '.join(install)}")


def main() -> None:
    """Demo unless the first argument is `test` (the rest goes to pytest) or `docs` (a folder)."""
    if sys.version_info < (3, 11):
        sys.exit("Halfsplit needs Python 3.11 or newer; this is " + sys.version.split()[0])
    if sys.argv[1:2] == ["test"]:
        system_packages()
        programs = environment("dev,docs")
        python = str(programs / "python")
        run(python, "-m", "ruff", "check", ".")
        run(python, "-m", "ruff", "format", "--check", ".")
        run(python, "-m", "mypy")
        run(python, "-m", "pytest", "-n", "2", *sys.argv[2:])
    elif sys.argv[1:2] == ["docs"]:
        programs = environment("docs")
        run(str(programs / "python"), "docs/build.py", *sys.argv[2:])
    elif len(sys.argv) > 1:
        sys.exit("start.py runs the demo; start.py test the tests; start.py docs builds the site")
    else:
        programs = environment("")
        run(str(programs / "halfsplit"), "demo")
        print(f"\nThe program is {programs / 'halfsplit'}; try it with --help.")


if __name__ == "__main__":
    main()
