"""Commands for old capacitors and what is stored in them, and their printing."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter
from cyclopts.validators import Number

from halfsplit.cli import show
from halfsplit.cli.common import Feed, Json, emit, session
from halfsplit.cli.loading import caution
from halfsplit.problems import ExitCode


def reform(
    file: Path,
    part: str,
    *,
    rule: Annotated[str | None, Parameter(help="published rule; you pick, they differ")] = None,
    leakage: Annotated[str | None, Parameter(help="leakage limit: jan-c-62, small-part")] = None,
    ohms: Annotated[str | None, Parameter(help="series resistor, if not the rule's: 100k")] = None,
    watts: Annotated[str | None, Parameter(help="its rating: 5W")] = None,
    limit: Annotated[str | None, Parameter(help="current limit of the supply: 5mA")] = None,
    target: Annotated[str | None, Parameter(help="volts to form to, if not working volts")] = None,
    at_once: Annotated[bool, Parameter(negative="", help="ask for full volts in one step")] = False,
    months: Annotated[
        float, Parameter(help="months on the shelf", validator=Number(gte=0, lte=1200))
    ] = 0.0,
    feed: Feed = None,
    volts: Annotated[str | None, Parameter(help="reading: volts across the capacitor")] = None,
    amps: Annotated[str | None, Parameter(help="reading: current into it: 400uA")] = None,
    drop: Annotated[str | None, Parameter(help="or volts across the series resistor")] = None,
    minutes: Annotated[
        float | None, Parameter(help="minutes since the start", validator=Number(gte=0))
    ] = None,
    farads: Annotated[
        str | None, Parameter(help="measured afterwards: 26uF, held against its end of life")
    ] = None,
    esr: Annotated[str | None, Parameter(help="measured afterwards: series resistance")] = None,
    leak: Annotated[
        bool, Parameter(negative="", help="test leakage at working volts instead of forming")
    ] = False,
    json: Json = False,
) -> int:
    """Plan the reforming of a capacitor, log its readings, and say when to stop.

    With --leak: a leakage test at working volts through a resistor; --drop is then its reading.
    """
    from halfsplit.bench import proving
    from halfsplit.bench.bringing import plain

    with session(file, "capacitors") as bench:
        if leak:
            told = proving.leakage(bench, part, feed=feed, ohms=ohms, target=target, drop=drop)
            return emit(plain(told), json, lambda: _leak(told, file))
        data = proving.forming(
            bench,
            part,
            volts=volts,
            amps=amps,
            drop=drop,
            minutes=minutes,
            rule=rule,
            leakage=leakage,
            feed=feed,
            ohms=ohms,
            watts=watts,
            limit=limit,
            target=target,
            at_once=at_once,
            months=months,
            farads=farads,
            esr=esr,
        )
        emit(plain(data), json, lambda: _forming(data, file))
        return ExitCode.PROBLEMS if data["refused"] and volts is None else ExitCode.OK


def _forming(d: dict[str, Any], file: Path) -> None:
    from halfsplit.quantity import show as q
    from halfsplit.quantity.volts import volts

    what = {
        "working": "its working volts",
        "asked": "as asked",
        "rating": "its rating, for its working volts were not solved",
    }[d["target_from"]]
    show.say(f"{d['part']}: form to {volts(d['target'])}, {what}; rated {volts(d['rated'])}")
    show.say(f"  rule {d['rule']}: {d['rule_words']} ({d['rule_source']})")
    show.say(
        f"  most leakage {q(d['leakage_limit'], 'A', 2)} at rated volts "
        f"({d['leakage_rule']}: {d['leakage_source']})"
    )
    if d["shelf"]:
        show.say(f"  so long on the shelf: {d['shelf']} (a maker's note of October 1993)")
    for line in d["cautions"]:
        caution(line)
    show.say(
        f"  series resistor {q(d['ohms'], 'ohm', 2)}, rated {q(d['resistor_watts'], 'W', 2)} or "
        f"more; never over {q(d['most_amps'], 'A', 2)}, so the supply never more than "
        f"{volts(d['jump'])} above the capacitor"
    )
    for s in d["stages"]:
        show.say(
            f"  supply {volts(s['volts'])}: {q(s['seconds'] / 60, '1', 3)} min {s['until']}; if it "
            f"shorts here {q(s['short_amps'], 'A', 2)}, {q(s['short_watts'], 'W', 3)} in the "
            "resistor"
        )
    for line in d["refused"]:
        show.error(f"refused: {line}")
    log = d["log"]
    for line in log["plot"]:
        show.say(f"  {line}")
    if log["readings"]:
        last = log["readings"][-1]
        show.say(
            f"  {len(log['readings'])} readings; last {volts(last['volts'])}, "
            f"{q(last['amps'], 'A', 2)}, {q(last['watts'], 'W', 2)} in the can"
        )
        if log["predicted_seconds"]:
            at = q(log["predicted_seconds"] / 60, "1", 2)
            show.say(f"  at this trend within the limit {at} min after the start")
    show.say(f"  now: {log['state'].replace('-', ' ')}: {log['why']}")
    if d["life"]:
        show.say(f"  measured: {d['life']['words']} ({d['life']['source']})")
        if not d["life"]["passed"]:
            show.say(f"  then say so: `halfsplit observe {file.name} --part {d['part']} --bad`")


def _leak(d: dict[str, Any], file: Path) -> None:
    from halfsplit.quantity import show as q
    from halfsplit.quantity.volts import volts

    show.say(f"{d['part']}: leakage at its working {volts(d['level'])}, one lead lifted")
    for line in d["cautions"]:
        caution(line)
    show.say(
        f"  {volts(d['level'])} through {q(d['ohms'], 'ohm', 2)}; if it shorts "
        f"{q(d['worst_amps'], 'A', 2)}, {q(d['worst_watts'], 'W', 2)} in the resistor"
    )
    show.say(
        f"  sound: under {volts(d['drop_limit'])} across the resistor once it stands still; leaky "
        f"as this kind gets, about {volts(d['leaky_drop'])} ({q(d['leaky_amps'], 'A', 2)})"
    )
    show.say(f"  an ohmmeter may read {d['ohmmeter']}")
    if d["verdict"]:
        show.say("  sound at these volts" if d["verdict"]["passed"] else "  leaky:")
        for reason in d["verdict"]["reasons"]:
            show.say(f"  {reason}")
        flag = "--good" if d["verdict"]["passed"] else "--bad"
        show.say(f"  then say so: `halfsplit observe {file.name} --part {d['part']} {flag}`")


def discharge(
    file: Path,
    *parts: str,
    to: Annotated[str | None, Parameter(help="volts to come down to, such as 1V")] = None,
    through: Annotated[str | None, Parameter(help="discharging resistor at hand: 10k")] = None,
    feed: Feed = None,
    measured: Annotated[str | None, Parameter(help="volts measured across the one named")] = None,
    json: Json = False,
) -> int:
    """What each capacitor holds, how long it takes to go, through what; and the proof by meter."""
    from halfsplit.bench import proving
    from halfsplit.bench.bringing import plain

    with session(file, "stored charge") as bench:
        data = proving.discharge(bench, parts, feed=feed, to=to, through=through, measured=measured)
        return emit(plain(data), json, lambda: _charges(data, file))


def _charges(d: dict[str, Any], file: Path) -> None:
    from halfsplit.quantity.volts import volts

    caution(
        "plug out first; insulated prods, never a screwdriver; a bleeder fails open without a "
        "sign, so each is charged until a meter says otherwise"
    )
    for s in d["capacitors"]:
        show.say(s["words"])
        show.say(
            f"  then measure across {s['part']} and enter it: `halfsplit discharge {file.name} "
            f"{s['part']} --measured 0.4V`; again in 5 min, up to {volts(s['rebound_volts'])} may "
            "come back"
        )
    if not d["capacitors"]:
        show.say("none of these holds a millijoule")
    if d["verdict"]:
        word = "below the limit" if d["verdict"]["passed"] else "not yet"
        show.say(f"stored #{d['verdict']['stored']}: {word}; {d['verdict']['again']}")
        for reason in d["verdict"]["reasons"]:
            show.say(f"  {reason}")
