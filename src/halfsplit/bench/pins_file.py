"""The file of pins beside an assembly: which pictures there are, and what is where on them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar, Literal

from pydantic import Field, ValidationError, field_validator, model_validator
from ruamel.yaml.comments import CommentedMap, CommentedSeq

from halfsplit.assembly.advice import WrongRecord, field_words, near, near_or_all, shown
from halfsplit.assembly.file import Reader
from halfsplit.assembly.model import Assembly, Entry
from halfsplit.bench.pictures_in import preview_of
from halfsplit.parts.base import Net
from halfsplit.problems import Problem

What = Literal["net", "part", "point"]
KINDS: tuple[What, ...] = ("net", "part", "point")
# Names the program gives; nothing else is ever opened, so no entry can lead out of the folder.
FILE_NAME = r"[0-9a-f]{32}\.(jpg|png)"
_SAMPLES = {
    "pictures": "board: {file: <name in the folder>, width: 4000, height: 3000, title: …}",
    "pins": "- {picture: board, x: 0.412, y: 0.233, net: p5}",
}


class Picture(Entry):
    """A scan or photo in the folder beside the file."""

    file: str = Field(description="name in the folder, as given when the picture came in")
    width: int = Field(gt=0, description="in pixels, the right way up")
    height: int = Field(gt=0, description="in pixels, the right way up")
    title: str = Field(default="", max_length=200)

    @field_validator("file")
    @classmethod
    def _ours(cls, name: str) -> str:
        if not re.fullmatch(FILE_NAME, name):
            wrong = f"{shown(name)} is no name a picture was kept under"
            raise WrongRecord(wrong, "32 of 0-9 and a-f, then .jpg or .png")
        return name

    @property
    def preview(self) -> str:
        """Name of the small one."""
        return preview_of(self.file)


class Pin(Entry):
    """A place on a picture: where a net, part or point is seen.

    x counts from the left edge and y from the top, as shares of width and height of the picture the
    right way up. `terminal` says which lead of a part.
    """

    picture: Net
    x: float = Field(ge=0, le=1, allow_inf_nan=False)
    y: float = Field(ge=0, le=1, allow_inf_nan=False)
    net: Net | None = None
    part: Net | None = None
    point: Net | None = None
    terminal: Net | None = None
    note: str = Field(default="", max_length=200)

    @model_validator(mode="after")
    def _one(self) -> Pin:
        given = [k for k in KINDS if getattr(self, k) is not None]
        if len(given) != 1:
            wrong = "a pin is of one net, part or point" + (
                f", not of {' and '.join(given)}" if given else ", and this one says none"
            )
            raise WrongRecord(wrong, "net: p5, or part: C4, or point: TP1")
        if self.terminal is not None and self.part is None:
            raise WrongRecord("a terminal is a part's", "part: C4, terminal: pos")
        return self

    @property
    def what(self) -> What:
        """Which of net, part and point it is of."""
        return next(k for k in KINDS if getattr(self, k) is not None)

    @property
    def name(self) -> str:
        """Name of that net, part or point."""
        return str(getattr(self, self.what))


@dataclass(frozen=True)
class Pins:
    """What a file of pins holds, entries that cannot be used left out.

    Attributes
    ----------
    file: where they are kept; it need not exist.
    folder: where the pictures are.
    pictures: by the name pins use.
    pins: in file order.
    """

    file: Path
    folder: Path
    pictures: Mapping[str, Picture]
    pins: tuple[Pin, ...]

    def on(self, picture: str) -> list[Pin]:
        """Pins of one picture."""
        return [p for p in self.pins if p.picture == picture]


def pins_path(assembly: Path) -> Path:
    """The file of pins of an assembly file."""
    return assembly.with_name(f"{assembly.stem}.pins.yaml")


def pictures_folder(assembly: Path) -> Path:
    """The folder of pictures of an assembly file."""
    return assembly.with_name(f"{assembly.stem}.pictures")


class _PinReader(Reader):
    """One pass over a file of pins."""

    samples: ClassVar[Mapping[str, str]] = _SAMPLES

    def record(self, kind: type[Entry], value: Any, where: str, sample: str) -> Any:
        """`value` as a record, or None with every error recorded."""
        if not isinstance(value, CommentedMap):
            wrong = f"{shown(value)} stands where an entry belongs"
            self.add(where, "nothing stands here" if value is None else wrong, sample)
            return None
        fields = {str(k): v for k, v in value.items()}
        try:
            return kind.model_validate(fields)
        except ValidationError as error:
            for inner, wrong, instead in field_words(kind, error.errors(), fields):
                self.add(f"{where}.{inner}" if inner else where, wrong, instead)
        return None


def load_pins(assembly: Assembly) -> tuple[Pins, list[Problem]]:
    """The pins of an assembly, and everything wrong with their file; no file is no pins.

    A pin that names what the assembly has not is a problem and left out; the rest is used.
    """
    path, folder = pins_path(assembly.file), pictures_folder(assembly.file)
    empty = Pins(path, folder, {}, ())
    if not path.exists():
        return empty, []
    reader = _PinReader(path)
    document = reader.read()
    if document is None:
        if any("file is empty" in p.wrong for p in reader.problems):
            return empty, []
        return empty, [_of_pins(p) for p in reader.problems]
    for key in document:
        if key not in _SAMPLES:
            reader.add(str(key), f"there is no section {shown(key)}", near_or_all(key, _SAMPLES))
    pictures = {}
    for name, entry in reader.section(document, "pictures").items():
        where = f"pictures.{name}"
        found = reader.record(Picture, entry, where, _SAMPLES["pictures"])
        if found is None:
            continue
        pictures[name] = found
        if not (folder / found.file).is_file():
            wrong = f"{folder.name}/{found.file} is not there: put it back, or take this entry out"
            reader.add(where, wrong, doubt=True)
    pins = []
    listed = document.get("pins")
    if listed is not None and not isinstance(listed, CommentedSeq):
        wrong = f"{shown(listed)} stands where a list belongs"
        reader.add("pins", wrong, f"pins: and under it {_SAMPLES['pins']}")
        listed = None
    for k, entry in enumerate(listed or ()):
        pin = reader.record(Pin, entry, f"pins.{k}", _SAMPLES["pins"])
        if pin is None:
            continue
        wrong, instead, at = fault(assembly, list(pictures), pin)
        if wrong:
            reader.add(f"pins.{k}.{at}", wrong, instead)
        else:
            pins.append(pin)
    problems = sorted(reader.problems, key=lambda p: (p.line, p.column, p.path))
    return Pins(path, folder, pictures, tuple(pins)), problems


def fault(assembly: Assembly, pictures: list[str], pin: Pin) -> tuple[str, str, str]:
    """What is wrong with a pin, what to write, and at which of its fields; "" three times if all
    is well."""
    if pin.picture not in pictures:
        known = near_or_all(pin.picture, pictures) if pictures else "a picture first"
        return f"there is no picture {shown(pin.picture)}", known, "picture"
    nets = [*assembly.nets(), assembly.common, *assembly.rails]
    known_names = {"net": nets, "part": [*assembly.parts], "point": [*assembly.points]}[pin.what]
    if pin.name not in known_names:
        close = near(pin.name, known_names)
        return f"the assembly has no {pin.what} {shown(pin.name)}", close, pin.what
    if pin.part is not None and pin.terminal is not None:
        leads = [*assembly.parts[pin.part].terminals()]
        if pin.terminal not in leads:
            wrong = f"{pin.part} has no terminal {shown(pin.terminal)}"
            return wrong, " or ".join(leads), "terminal"
    return "", "", ""


def _of_pins(problem: Problem) -> Problem:
    """The text reader speaks of assemblies; this is a file of pins."""
    wrong = re.sub("the file is no assembly", "the file is no file of pins", problem.wrong)
    wrong = wrong.replace("for an assembly", "for a file of pins")
    instead = problem.instead
    if instead.startswith("assembly: <name>"):
        instead = "pictures: and pins:, or remove the file"
    return replace(problem, wrong=wrong, instead=instead)
