"""The demo: the main job on the HD-40 tray, as a newcomer would do it by hand."""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

from halfsplit.cli import show
from halfsplit.problems import ExitCode, Problem, ProblemsError


def examples() -> Path:
    """Folder of example machines: in the installed package, else in the source tree."""
    packed = Path(str(files("halfsplit"))) / "examples"
    return packed if packed.is_dir() else Path(__file__).resolve().parents[3] / "examples"


# What a meter showed on the tray when C4 had failed short and the bench load was on. Invented with
# the machine: ngspice's mains cycle of a specimen with part tolerances and meter error drawn.
READINGS = ("p5=1.10", "n12=-1.71")


def run_demo(run: Callable[[list[str]], int], keep: Path | None, *, as_json: bool) -> int:
    """Copy the demo machine to a folder of its own and `run` the commands on it, showing each."""
    try:
        folder = keep or Path(tempfile.mkdtemp(prefix="halfsplit-demo-"))
        folder.mkdir(parents=True, exist_ok=True)
        file = folder / "pt3.yaml"
        if not file.exists():
            shutil.copy(examples() / "hd40" / "pt3.yaml", file)
    except (OSError, ValueError) as error:
        where = keep or "a temporary folder"
        wrong = f"the demo machine cannot be put there: {error}"
        raise ProblemsError([Problem(str(where), 0, 0, "", wrong, "--keep <folder>")]) from error
    name = str(file)
    steps = [
        ("Is the file in order?", ["check", name]),
        (
            "What should the tray read with no, half and full load?",
            [
                "expect",
                name,
                "n12",
                "p12",
                "p5",
                "sum",
                "ref",
                "--load",
                "none",
                "--load",
                "half",
                "--load",
                "full",
            ],
        ),
        (
            "It came in dead. Where do I put the probe first?",
            [
                "next",
                name,
            ],
        ),
        (
            "The meter showed this, with the bench load on:",
            ["read", name, *READINGS, "--load", "bench"],
        ),
        ("Which faults still explain that?", ["suspects", name, "--most", "3"]),
        ("And now?", ["next", name]),
        ("Tomorrow, everything is still there:", ["resume", name]),
    ]
    if as_json:
        print(json.dumps({"folder": str(folder), "commands": [s[1] for s in steps]}))
        return ExitCode.OK
    for title, command in steps:
        show.out.print(f"\n[bold cyan]{title}[/]")
        show.out.print(
            f"[dim]$ halfsplit {' '.join(c.replace(name, 'pt3.yaml') for c in command)}[/]"
        )
        code = run(command)
        if code:
            return code
    show.say(f"\nThe demo machine and its journal are in {folder}")
    show.say("Go on from here by hand, for example:")
    program = Path(sys.argv[0]).name if shutil.which(Path(sys.argv[0]).name) else sys.argv[0]
    show.say(f"  {program} read {file} sum=5.29")
    show.say(f"  {program} next {file}")
    show.say(
        f"Then type your own machine into a file like it; {program} --help lists the commands."
    )
    return ExitCode.OK
