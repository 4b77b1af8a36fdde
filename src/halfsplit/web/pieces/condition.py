"""The state the machine is in, always in sight: each piece of it one tap to change."""

from __future__ import annotations

from functools import partial
from typing import Any

from halfsplit.problems import HalfsplitError
from halfsplit.web.html import Choice, Tag, button, details, field, rows
from halfsplit.web.pieces.insisting import refusal
from halfsplit.web.view import View, words_of

# Pieces of the ledger the strip is drawn from.
SHOWN = ("condition", "condition_words", "open_items", "overrides")


def condition_strip(view: View) -> None:
    """Feed, load, parts, and what else stands around the machine."""

    def draw(now: dict[str, Any]) -> None:
        if not {"feed", "load"} >= {k for k, v in now["condition"].items() if v}:
            Tag("p", now["condition_words"], "in-words")
        for item in now["open_items"]:
            Tag("p", f"Open item: {item}", "open-item")
        for item in now["overrides"]:
            words = f"{item['gate']} was overridden: {item['why']} (entry {item['entry']})"
            Tag("p", words, "trouble")

    def data() -> dict[str, Any]:
        return {name: view.ledger[name] for name in SHOWN}

    def mains(on: bool) -> None:
        if on:
            Tag("strong", "Mains is on", "live-mains")

    # A section of its own, so that it stays in sight however far down the page somebody reads.
    with Tag("section", "", "now", aria_label="Condition now"):
        Tag("h2", "Condition now", "unseen")
        with Tag("div", "", "pieces"):
            _pick(view, [f["name"] for f in view.facts["feeds"]], "Fed by", "feed")
            _pick(view, view.facts["loads"], "Load", "load")
            view.live(lambda: view.ledger["mains"], mains)
    with Tag("section", "", "condition", aria_label="More of the condition"):
        view.live(data, draw)
        with Tag("div", "", "more"):
            _parts(view)
            _around(view)


def _pick(view: View, names: list[str], label: str, name: str) -> None:
    """One of the file's feeds or loads; one tap sets it."""

    def now() -> str:
        at = view.ledger["condition"]
        return "" if name == "load" and at["extra"] else str(at[name])

    async def pick(value: str) -> None:
        if value != now():
            await set_condition(view, **{name: value})

    with Tag("div", "", "piece"):
        Tag("span", label, "name")
        chosen = Choice([(n, n) for n in names], now(), pick, label=label, key=name)
    view.place.changed.subscribe(lambda: chosen.show(now()))


async def set_condition(view: View, **what: str) -> bool:
    """Enter that feed, load, mains level, lamp or air were changed; whether it was stored."""

    def verb(noter: Any) -> Any:
        return noter.set_condition(
            noter.condition_from(what.pop("feed", None), what.pop("load", None), **what)
        )

    return await view.trying(view.place.write(verb)) is not None


async def do_change(view: View, text: str, anyway: str | None = None) -> bool:
    """Enter something done to a part; whether it was stored. A refusal offers to give a reason."""
    view.alert([])
    try:
        mind = await view.place.change(text, anyway)
    except HalfsplitError as error:
        lines, can = refusal(error)
        view.alert(lines, partial(_reason, view, text) if can else None)
        return False
    except Exception as error:
        view.alert(words_of(error))
        return False
    if mind:
        view.alert([f"Mind: {line}" for line in mind])
    return True


def _reason(view: View, text: str) -> None:
    why = {"text": ""}

    async def go() -> None:
        await do_change(view, text, why["text"])

    field(
        "Reason to do it all the same; it is kept and shown",
        "",
        lambda t: why.update(text=t),
        data_key="why-anyway",
    )
    button("Do it all the same", go, "danger", data_key="do-anyway")


def _parts(view: View) -> None:
    """What was done to parts, and to do more."""
    typed = {"part": "", "did": ""}

    async def did(verb: str) -> None:
        if not typed["part"]:
            view.alert(["Name the part first, such as C4."])
            return
        await do_change(view, f"{typed['part']} {verb}")

    async def said() -> None:
        if await do_change(view, typed["did"]):
            free.value = ""

    def leads() -> list[str]:
        ref = typed["part"].lower()
        return next((p["leads"] for p in view.facts["parts"] if p["ref"].lower() == ref), [])

    def draw_verbs() -> None:
        verbs.clear()
        with verbs:
            for verb, words in (
                ("removed", "Removed"),
                ("fitted", "New one fitted"),
                ("bypassed", "Bypassed"),
                ("put-back", "Put back"),
            ):
                button(words, partial(did, verb), data_key=f"did-{verb}")
            for lead in leads():
                button(
                    f"Lead {lead} lifted", partial(did, f"lift {lead}"), data_key=f"did-lift-{lead}"
                )

    def named(text: str) -> None:
        typed["part"] = text.strip()
        draw_verbs()

    with details("Parts and switches", key="parts") as box:
        box.props["data-shortcut"] = "p"
        box.props["data-says"] = "parts lifted, removed, fitted"
        view.live(
            lambda: (view.ledger["changes"], view.ledger["switches"]),
            partial(_done, view),
            classes="done",
        )
        with Tag("div", "", "form"):
            entry = field("Part", "", named, data_key="part-done")
            entry.props["data-list"] = "parts"
        verbs = Tag("div", "", "choice", role="group", aria_label="What was done to it")
        draw_verbs()
        with Tag("div", "", "form"):
            free = field(
                "Or in words, such as C4 fitted value=33u, RV1 set 40%",
                "",
                lambda t: typed.update(did=t),
                data_key="did-words",
            )
            free.on("keydown.enter", said, args=[])
            free.mark("did-words")
            button("Store", said, data_key="did-store").mark("did-store")
    with Tag("datalist", id="parts"):
        for part in view.facts["parts"]:
            Tag("option", part["label"], value=part["ref"])


def _done(view: View, state: tuple[list[dict[str, Any]], list[dict[str, str]]]) -> None:
    changes, switches = state
    if not changes:
        Tag("p", "Every part as drawn.", "quiet-words")
    for change in changes:
        with Tag("div", "", "line"):
            Tag("span", change["words"], "open-item" if change["temporary"] else "")
            button(
                "Put back",
                partial(do_change, view, f"{change['part']} put-back"),
                data_key=f"back-{change['part']}",
                aria_label=f"Put back {change['part']}",
            )
    for switch in switches:
        with Tag("div", "", "line"):
            Tag("span", switch["part"])
            Choice(
                [("closed", "Closed"), ("open", "Open")],
                switch["state"],
                partial(_operate, view, switch["part"]),
                label=switch["part"],
                key=f"switch-{switch['part']}",
            )


async def _operate(view: View, switch: str, state: str) -> None:
    await do_change(view, f"{switch} {state}")


def _around(view: View) -> None:
    """Mains level, series lamp, air, another load, and the meter."""
    texts = {"mains": "", "lamp": "", "ambient": "", "load": ""}
    labels = {
        "mains": "Mains by a variac, such as 90%",
        "lamp": "Lamp in series: 60W, or none",
        "ambient": "Air, such as 35degC",
        "load": "Another load, such as p5=2R,p12=24R",
    }

    async def store() -> None:
        given = {k: v.strip() for k, v in texts.items() if v.strip()}
        if not given:
            view.alert(["Nothing was typed to set."])
        elif await set_condition(view, **given):
            for entry in entries.values():
                entry.value = ""
            await _mind(view, given)

    async def meter(kind: str) -> None:
        await view.trying(view.place.write(lambda noter: noter.set_meter(kind=kind)))

    with details("Mains, lamp, air, meter", key="around"):
        with Tag("div", "", "form"):
            entries = {
                name: field(label, "", partial(_put, texts, name), data_key=f"around-{name}")
                for name, label in labels.items()
            }
            button("Set", store, data_key="around-set")
        Tag("span", "Meter", "name")
        names = [(m, m) for m in view.facts["meters"]]
        chosen = Choice(names, view.ledger["meter"], meter, label="Meter", key="meter")
    view.place.changed.subscribe(lambda: chosen.show(view.ledger["meter"]))


def _put(texts: dict[str, str], name: str, text: str) -> None:
    texts[name] = text


async def _mind(view: View, given: dict[str, str]) -> None:
    """Cautions of whoever puts a variac or a lamp between the wall and the machine."""
    from halfsplit.bench.hazards import at_limiters

    if {"mains", "lamp"} & set(given):
        found = await view.place.look(lambda noter: at_limiters(noter.machine, noter.condition))
        if found:
            view.alert([f"Mind: {line}" for line in found])


def hazards(view: View) -> None:
    """What may hurt now, with numbers."""

    def draw(found: list[str]) -> None:
        Tag("h2", "Hazards now")
        if found:
            rows(found, "hazard")
        else:
            Tag(
                "p",
                "None this program knows of; treat what it does not know as present.",
                "quiet-words",
            )

    view.live(lambda: view.ledger["hazards"], draw, "section", "box hazards")
