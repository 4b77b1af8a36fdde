"""Rate and format: of a switch, of a captured line, or what garbage says about them."""

from __future__ import annotations

import tempfile
from functools import partial
from pathlib import Path
from typing import Any

from halfsplit.boards.garbage import printable
from halfsplit.web.html import Choice, Tag, button, rows
from halfsplit.web.pieces.upload import upload_button
from halfsplit.web.pieces.working import Fields, Worked
from halfsplit.web.registry import machine_page
from halfsplit.web.uploads import let_in
from halfsplit.web.view import View

LARGEST = 20 * 1024 * 1024  # bytes of a capture
SHOWN = 4  # causes of garbage


@machine_page("line", "Line", order=30, sorts=("console",))
async def line(view: View) -> None:
    """What a switch sets, what a capture shows, and what garbage on the screen means."""
    Tag("h1", "Line settings")
    with Tag("div", "", "columns"):
        with Tag("div", "", "first"):
            _garbage(view)
            _capture(view)
        with Tag("div", "", "second"):
            if view.facts["lines"]:
                _switch(view)


def _switch(view: View) -> None:
    with Tag("section", "", "box"):
        Tag("h2", "The switch")
        board = {"name": view.facts["lines"][0]}

        def pick(name: str) -> None:
            board["name"] = name
            boards.show(name)

        if len(view.facts["lines"]) > 1:
            names = [(n, n) for n in view.facts["lines"]]
            boards = Choice(names, board["name"], pick, label="Board", key="line-board")
        with Tag("div", "", "form"):
            labels = {"switch": "As it stands, closed 1: 1110 1110", "want": "Wanted: 9600-8N1",
                      "against": "The other end: 9600-8N1"}  # fmt: skip
            fields = Fields(view, "switch", labels)

        async def ask() -> dict[str, Any]:
            from halfsplit.bench.lines import format_of, settings_dict

            want, switch, against = (fields.given(n) for n in ("want", "switch", "against"))

            def verb(file: Any, _: Any) -> dict[str, Any]:
                form = format_of(want) if want else None
                return settings_dict(file, board["name"], switch, form, against)

            return await view.place.console(verb)

        async def again() -> None:
            await shown.again()

        button("What it sets", again, "act", data_key="switch-work").mark("switch-work")
        shown: Worked[dict[str, Any]] = Worked(view, ask, _set, words="What it sets", key="switch")


def _set(data: dict[str, Any]) -> None:
    name = f"{data['board']} {data['switch']}".strip()
    if data["found"]:
        f = data["found"]
        Tag("p", f"{name} stands at {f['positions']}", "name")
        Tag("strong", f"{f['nominal']:g} Bd {f['text'].partition(' ')[2]}", "big")
        Tag("p", f"truly {f['rate']:.2f} Bd ({f['error'] * 100:+.2f} %), "
            f"{f['per_second']:.4g} characters a second", "quiet-words")  # fmt: skip
    if data.get("wanted"):
        w = data["wanted"]
        Tag("p", f"Wanted {w['text']}: {w['positions']} (1 closed, 0 open, x either).")
    rows([f"Move {words}" for words in data["move"]], "moves")
    rows(data["apart"], "hazard")
    rows(
        [
            f"{way}: rates differ {b['error'] * 100:+.2f} %, {b['allowed'] * 100:.2f} % may be, "
            f"{b['spare'] * 100:.2f} % to spare"
            for way, b in data.get("budget", {}).items()
        ],
        "quiet-words",
    )


def _capture(view: View) -> None:
    with Tag("section", "", "box"):
        Tag("h2", "A captured line")
        Tag("p", "CSV of a scope or logic analyser: time first, then levels.", "quiet-words")
        with Tag("div", "", "form"):
            fields = Fields(view, "capture", {"channel": "Column after time, 1 for the first"})

            async def take(name: str, data: bytes) -> None:
                found = await view.trying(_estimated(view, name, data, fields.text("channel")))
                if found is not None and not spot.is_deleted:
                    spot.clear()
                    with spot:
                        _captured(found)

            upload_button(view, "Choose the capture", take, name="capture", most=LARGEST)
        spot = Tag("div", "", "", role="status")


async def _estimated(view: View, name: str, data: bytes, channel: str) -> dict[str, Any]:
    """What a capture shows. Raises ProblemsError for what is none."""
    from halfsplit.bench.lines import capture_dict

    let_in(name, data, ("csv",), LARGEST)
    column = int(channel) if channel.isdigit() else 1

    def verb() -> dict[str, Any]:
        with tempfile.TemporaryDirectory(prefix="halfsplit-") as folder:
            path = Path(folder) / "capture.csv"
            path.write_bytes(data)
            return capture_dict(path, column)

    return await view.place.work(verb, "what the capture shows")


def _captured(data: dict[str, Any]) -> None:
    if not data["solved"]:
        Tag("p", f"Not told: {data['why']}", "trouble")
        return
    form = data["format"]["text"]
    words = f"{data['nominal']:g} Bd {form}, idle {data['mark']}"
    Tag("strong", words, "big").mark("captured")
    Tag("p", f"{_share(data['share'])}; measured {data['rate']:.2f} Bd "
        f"({data['error'] * 100:+.2f} %), levels {data['low']:.3g} and {data['high']:.3g}, edges "
        f"off by {data['jitter'] * 100:.1f} % of a bit")  # fmt: skip
    if not data["stop_seen"]:
        Tag("p", "Stop bits are not told: no two characters came without a pause.", "quiet-words")
    wrong = f"{data['framing_errors']} framing, {data['parity_errors']} parity errors"
    cut = " One more was cut off by the end of the capture and is left out." * data["cut"]
    Tag("p", f"{data['frames']} characters, {wrong}.{cut}", "quiet-words")
    rows([f"or {r['format']} ({_share(r['share'])})" for r in data["others"] if r["share"] > 0.01])
    text = printable(data["text"].encode("latin-1"))
    Tag("pre", text, "tree", tabindex="0", aria_label="the text of the capture")


def _garbage(view: View) -> None:
    with Tag("section", "", "box"):
        Tag("h2", "What garbage says")
        with Tag("div", "", "form"):
            labels = {"typed": "What was typed, if known",
                      "appeared": "What came out; \\x8d for odd bytes"}  # fmt: skip
            fields = Fields(view, "garbage", labels)
        cable = {"name": ""}

        def pick(name: str) -> None:
            cable["name"] = name
            cables.show(name)

        if view.facts["cables"]:
            options = [("", "cable not known"), *((n, n) for n in view.facts["cables"])]
            cables = Choice(options, "", pick, label="Cable in use", key="garbage-cable")

        async def work() -> None:
            if not (fields.text("typed") or fields.text("appeared")):
                view.alert(["Type what came out first."])
                return
            found = await view.trying(_ranked(view, fields, cable["name"]))
            if found is not None and not spot.is_deleted:
                spot.clear()
                with spot:
                    _causes(found)

        fields.enter("appeared", work)
        button("What can be behind it", work, "act", data_key="garbage").mark("garbage")
        spot = Tag("div", "", "", role="status")


async def _ranked(view: View, fields: Fields, cable: str) -> dict[str, Any]:
    from halfsplit.bench.lines import garbage_dict

    file = await view.place.console(lambda file, _: file)
    typed, appeared = fields.given("typed"), fields.text("appeared")
    verb = partial(garbage_dict, file, typed, appeared, cable=cable or None)
    return await view.place.work(verb, "what garbage says")


def _causes(data: dict[str, Any]) -> None:
    rows([f"The cable: {words}" for words in data["cable"]], "hazard")
    with Tag("ol", "", "causes"):
        for k, c in enumerate(data["causes"][:SHOWN]):
            if k and c["share"] < 0.005:
                break
            with Tag("li"):
                Tag("strong", f"{c['what']}, {_share(c['share'])}", "" if k else "big").mark(
                    "cause"
                )
                same = [f"{o['what']} shows the same" for o in c["same"][:3]]
                if c["meant"]:
                    meant = printable(c["meant"].encode("latin-1", "replace"))
                    same.append(f"would mean: {meant}")
                else:
                    same.append(f"would show: {c['would_show']}")
                rows([*same, c["look"]] if c["look"] else same, "quiet-words")


def _share(share: float) -> str:
    return "> 99 %" if share > 0.99 else f"{100 * share:.0f} %"
