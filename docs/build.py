#!/usr/bin/env python3
"""Build the documentation site: `python docs/build.py [FOLDER]`, or `python3 start.py docs`.

Pages are the Markdown files beside this one, and pages made from the program
itself: every command, every kind of part, the numbers of its cautions. Nothing is fetched.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
sys.path.insert(0, str(HERE))

import made  # noqa: E402  (pages made from the program, beside this file)


def pages() -> dict[str, str]:
    """Every page as name -> Markdown."""
    found = {p.stem: p.read_text(encoding="utf-8") for p in sorted(HERE.glob("*.md"))}
    found["commands"] += "\n" + made.options()
    found["hazards"] = made.cautions(found["hazards"])
    return found | made.kinds()


def build(target: Path) -> int:
    """Write the site to a folder; returns Sphinx's exit code, warnings are errors."""
    with tempfile.TemporaryDirectory(prefix="halfsplit-docs-") as folder:
        source = Path(folder)
        for name, text in pages().items():
            page = source / f"{name}.md"
            page.parent.mkdir(exist_ok=True)
            page.write_text(text, encoding="utf-8")
        shutil.copy(HERE / "conf.py", source)
        shutil.copytree(HERE / "_static", source / "_static")
        command = [sys.executable, "-m", "sphinx", "-q", "-W", "--keep-going", "-d", folder + "/.t"]
        return subprocess.run([*command, folder, str(target)], check=False).returncode


if __name__ == "__main__":
    to = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "build" / "site"
    code = build(to.resolve())
    print(f"The site is {to.resolve() / 'index.html'}" if not code else "The site was not built.")
    sys.exit(code)
