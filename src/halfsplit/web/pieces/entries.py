"""What was entered, the last first, with undo; and what was seen, heard or smelt, to enter."""

from __future__ import annotations

from functools import partial
from typing import Any

from halfsplit.web.html import Markup, Tag, button, clock, details, drawn, field, markup
from halfsplit.web.view import View

SHOWN = 8


def entries(view: View) -> None:
    """The last entries in force; the last one can be undone."""

    async def undo() -> None:
        await view.trying(view.place.write(lambda noter: noter.undo()))

    def offer(any_: bool) -> None:
        if any_:
            button(
                "Undo the last entry",
                undo,
                data_key="undo",
                data_shortcut="u",
                data_says="undo the last entry (then Enter)",
            ).mark("undo")

    def draw(found: list[dict[str, Any]]) -> None:
        if not found:
            Tag("p", "Nothing yet.", "quiet-words")
            return
        drawn(markup("ol", *(_entry(e) for e in reversed(found[-SHOWN:])), classes="entries"))

    with Tag("section", "", "box journal"):
        with Tag("div", "", "line"):
            Tag("h2", "Entered")
            view.live(lambda: bool(view.ledger["entries"]), offer)
        view.live(lambda: view.ledger["entries"], draw)


def _entry(entry: dict[str, Any]) -> Markup:
    at = entry["at"]
    return markup(
        "li",
        markup("span", f"{entry['seq']}", classes="seq"),
        markup("span", clock(at, day=False), classes="time", title=clock(at)),
        markup("span", entry["words"]),
    )


def observations(view: View) -> None:
    """A sign of a part or of the machine, a note, a part worked on before."""
    typed = {"text": view.draft("note"), "part": view.draft("note_part")}

    def put(name: str, text: str) -> None:
        typed[name] = text.strip()
        view.keep_draft(note=typed["text"], note_part=typed["part"])
        if name == "part":
            draw_signs()

    async def store(sign: str = "", touched: bool = False) -> None:
        part = typed["part"] or None
        if sign in view.facts["machine_signs"]:
            part = None
        done = await view.trying(
            view.place.write(lambda noter: noter.observe(typed["text"], part, touched, sign))
        )
        if done is not None:
            text.value = where.value = ""

    async def prove(good: bool) -> None:
        """What came of it on its own, out of circuit or with a lead lifted."""
        part, words = typed["part"], typed["text"]
        verb = view.place.write(lambda noter: noter.prove(part, good, words))
        if await view.trying(verb) is not None:
            text.value = where.value = ""

    def draw_signs() -> None:
        signs.clear()
        names = view.facts["part_signs"] if typed["part"] else view.facts["machine_signs"]
        with signs:
            Tag("span", f"{typed['part'] or 'The machine'} is", "name")
            for sign in names:
                button(sign.replace("-", " "), partial(store, sign), data_key=f"sign-{sign}")
            if typed["part"]:
                button("worked on before", partial(store, "", True), data_key="touched")
                for good, words in ((True, "tested good"), (False, "tested bad")):
                    tested = button(words, partial(prove, good), data_key=f"tested-{good}")
                    tested.mark(f"tested-{good}")

    with details("Seen, heard, smelt", key="observe", classes="box observe") as box:
        box.props["data-shortcut"] = "o"
        box.props["data-says"] = "something seen, heard or smelt"
        with Tag("div", "", "form"):
            where = field(
                "Part, or nothing for the whole machine",
                typed["part"],
                partial(put, "part"),
                data_key="note-part",
            )
            where.props["data-list"] = "parts"
            where.mark("note-part")
            text = field(
                "In words, if more is to be said",
                typed["text"],
                partial(put, "text"),
                data_key="note",
            )
            text.on("keydown.enter", partial(store), args=[])
        signs = Tag("div", "", "choice", role="group", aria_label="Signs")
        draw_signs()
        button("Store the words alone", partial(store), data_key="note-store")
