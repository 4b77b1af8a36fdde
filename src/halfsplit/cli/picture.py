"""The command that draws: circuit, leans-on map, waveforms, curves, suspicion, drill."""

from __future__ import annotations

import json as json_
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter
from cyclopts.validators import Number

from halfsplit.cli import show
from halfsplit.cli.common import Feed, Json, Load, emit, session
from halfsplit.problems import NotFoundError, Problem, ProblemsError

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

LARGEST = 20_000_000  # bytes of an earlier drawing that are read for its places
Flag = Annotated[bool, Parameter(negative="")]


def picture(
    file: Path,
    *,
    around: Annotated[
        str | None, Parameter(help="part, net, rail or point to draw the surroundings of")
    ] = None,
    block: Annotated[
        tuple[str, ...], Parameter(help="block, rail or use of a pattern to draw; may be repeated")
    ] = (),
    afresh: Annotated[
        bool, Parameter(negative="", help="lay out anew, not in the places of the last drawing")
    ] = False,
    hops: Annotated[int, Parameter(help="nets away from it", validator=Number(gte=1, lte=6))] = 1,
    notes: Annotated[
        bool, Parameter(negative="", help="write in expected and read volts, and suspects")
    ] = False,
    leans: Annotated[bool, Parameter(negative="", help="what leans on what")] = False,
    suspects_over_time: Annotated[
        bool, Parameter(negative="", help="weight of the suspects, entry by entry")
    ] = False,
    wave: Annotated[str | None, Parameter(help="net whose waveform to draw")] = None,
    captured: Annotated[
        Path | None, Parameter(help="CSV a scope wrote, to lay over --wave")
    ] = None,
    channel: Annotated[
        int, Parameter(help="column of the CSV after the time", validator=Number(gte=1))
    ] = 1,
    load_curve: Annotated[str | None, Parameter(help="rail to draw against its loads")] = None,
    limit_curve: Annotated[str | None, Parameter(help="rail whose current limit to draw")] = None,
    reform: Annotated[str | None, Parameter(help="capacitor whose reforming to draw")] = None,
    drill: Annotated[
        Path | None, Parameter(help="JSON of a drill, to draw what it claimed and was right about")
    ] = None,
    feed: Feed = None,
    load: Load = None,
    svg: Annotated[Path | None, Parameter(help="write the drawing here")] = None,
    json: Json = False,
) -> int:
    """Draw the circuit block by block, or around a part or net; or a map, a waveform, a curve.

    Without a choice the whole circuit is drawn. Give --svg, --json, or both. Drawn over an earlier
    drawing of the same blocks, what did not change keeps its place.
    """
    asked = {
        "--around": around is not None,
        "--block": bool(block),
        "--leans": leans,
        "--suspects-over-time": suspects_over_time,
        "--wave": wave is not None,
        "--load-curve": load_curve is not None,
        "--limit-curve": limit_curve is not None,
        "--reform": reform is not None,
        "--drill": drill is not None,
    }
    problems = []
    chosen = [k for k, yes in asked.items() if yes]
    if len(chosen) > 1:
        wrong = f"{' and '.join(chosen)} are pictures of their own"
        problems.append(Problem("", 0, 0, "picture", wrong, "one of them at a time"))
    if captured is not None and wave is None:
        wrong = "a captured trace is laid over the waveform of a net"
        problems.append(Problem("", 0, 0, "--captured", wrong, f"--wave v5r --captured {captured}"))
    if svg is None and not json:
        wrong = "nothing says where the drawing goes"
        problems.append(Problem("", 0, 0, "picture", wrong, "--svg drawing.svg, or --json"))
    if problems:
        raise ProblemsError(problems)
    with session(file) as bench:
        if around is not None:
            data = _circuit(bench, around, hops, notes)
        elif chosen in ([], ["--block"]):
            data = _blocks(bench, block, notes, None if afresh else svg)
        elif leans:
            data = _leans(bench)
        else:
            at = bench.condition_from(feed, load) if feed or load else None
            data = _chart(
                bench,
                {
                    "wave": (wave, at, captured, channel),
                    "suspects": suspects_over_time,
                    "load": (load_curve, feed),
                    "limit": (limit_curve, feed),
                    "reform": reform,
                    "drill": drill,
                },
            )
    if svg is not None:
        write(svg, data["svg"])
        data["file"] = str(svg)
    return emit(data, json, lambda: _said(data))


def _blocks(
    bench: Session, block: tuple[str, ...], notes: bool, over: Path | None
) -> dict[str, Any]:
    from halfsplit.bench import views

    written = views.written_in(bench, block) if notes else None
    before = earlier(over)
    choice, listed, drawing, kept = views.by_blocks(
        bench.assembly, block, before, written, standalone=True
    )
    return {
        "picture": "circuit",
        "blocks": {s.name: list(s.refs) for s in listed},
        "parts": list(dict.fromkeys(u.part.ref for u in choice.units)),
        "nets": sorted({n for u in choice.units for n in u.nets.values()}),
        "kept": kept,
        "afresh": before is not None and not notes and not kept,
        "svg": drawing,
    }


def earlier(path: Path | None) -> str | None:
    """The drawing that stands in the place of a new one; None where none can be read."""
    try:
        if path is None or path.stat().st_size > LARGEST:
            return None
        return path.read_text(encoding="utf-8")
    except (OSError, ValueError):
        return None


def _circuit(bench: Session, around: str, hops: int, notes: bool) -> dict[str, Any]:
    from halfsplit.bench import views

    choice, drawing = views.circuit(bench, around, hops, notes, standalone=True)
    return {
        "picture": "circuit",
        "parts": list(dict.fromkeys(u.part.ref for u in choice.units)),
        "nets": sorted({n for u in choice.units for n in u.nets.values()}),
        "left_out": dict(choice.left_out),
        "svg": drawing,
    }


def _leans(bench: Session) -> dict[str, Any]:
    from halfsplit.bench import bringing, views
    from halfsplit.pictures.leansmap import leans_svg

    data, proofs = views.leans_data(bench)
    drawing = leans_svg(data, proofs, standalone=True)
    plain: dict[str, Any] = bringing.plain({**data, "proofs": proofs})
    return {"picture": "leans", **plain, "svg": drawing}


def _chart(bench: Session, asked: Mapping[str, Any]) -> dict[str, Any]:
    from halfsplit.bench import views
    from halfsplit.pictures import series
    from halfsplit.pictures.chart import chart_svg

    more: list[series.Chart] = []
    if asked["suspects"]:
        chart = views.suspicion(bench)
    elif asked["wave"][0] is not None:
        chart = views.wave(bench, *asked["wave"])
    elif asked["load"][0] is not None:
        chart = views.load_curve(bench, *asked["load"])
    elif asked["limit"][0] is not None:
        chart = views.limit_curve(bench, *asked["limit"])
    elif asked["reform"] is not None:
        from halfsplit.assembly.condition import find_part

        chart = views.forming(bench, find_part(bench.assembly, asked["reform"]).ref)
    else:
        played = _played(asked["drill"])
        chart = series.claims_chart(played["table"])
        more = [series.checks_chart(played["cases"])]
    data = {"picture": "chart", **chart.as_dict(), "svg": chart_svg(chart, standalone=True)}
    if more:
        data["more"] = [{**c.as_dict(), "svg": chart_svg(c, standalone=True)} for c in more]
    return data


def _played(path: Path) -> dict[str, Any]:
    """A drill's own JSON. Raises NotFoundError or ProblemsError."""
    try:
        found = json_.loads(path.read_text(encoding="utf-8"))
        rows, cases = found["table"]["calibration"], found["cases"]
        good = all({"claimed", "right", "cases"} <= r.keys() for r in rows)
        if not good or not all(isinstance(c["checks"], int) for c in cases):
            raise KeyError("calibration")
    except FileNotFoundError:
        raise NotFoundError(f"{path}: there is no such file") from None
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        wrong = "this is not what drill --json prints"
        instead = "halfsplit drill FILE --json > drill.json"
        raise ProblemsError([Problem(str(path), 0, 0, "", wrong, instead)]) from None
    return dict(found)


def write(path: Path, content: str | bytes) -> None:
    """Put a drawing or report on disk. Raises ProblemsError."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
    except (OSError, ValueError) as error:
        wrong = f"it cannot be written there: {error}"
        raise ProblemsError([Problem(str(path), 0, 0, "", wrong, "another place")]) from error


def _said(data: Mapping[str, Any]) -> None:
    for line in data.get("notes", ()):
        show.say(f"  {line}")
    for net, count in data.get("left_out", {}).items():
        show.say(f"  {count} more parts on {net} are not drawn")
    if data.get("blocks"):
        show.say(f"  blocks: {', '.join(data['blocks'])}")
    if data.get("kept"):
        show.say("  what did not change stands where it stood; --afresh lays out anew")
    if data.get("afresh"):
        show.say("  laid out anew: too little of the drawing that stood there could be kept")
    show.say(f"Drawn into {data['file']}")
