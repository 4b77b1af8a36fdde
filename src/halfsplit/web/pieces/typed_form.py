"""The line a circuit is typed in, part by part, without a mouse."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from nicegui import events

from halfsplit.problems import HalfsplitError, ProblemsError
from halfsplit.web.html import Tag
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.typing_in import TypingIn

ENDS = 9  # fields beside name and words; as many as a line may have
LONGEST = 1_100  # characters of a field that are looked at
KEYS = [
    ["Enter", "write the line to the file"],
    ["Tab, Space", "the next field of the line"],
    ["↓ ↑", "suggestions; beside the reference, the entry below or above in the file"],
    ["Esc", "close suggestions; once more, leave the field"],
    ["Alt ← → ↑ ↓", "move the picture while typing"],
    ["Alt + − 0", "the picture larger, smaller, whole"],
]
Typed = tuple[str, str, list[str]]


class TypedForm:
    """The fields, what they say while they are typed, and what was written."""

    def __init__(self, view: View, desk: TypingIn, seen: Callable[[], Awaitable[None]]) -> None:
        self.view, self.desk, self.seen = view, desk, seen
        self.name = ""
        self.held: tuple[str, str | None] = ("", None)  # of which entry, what stood there
        self._heard: dict[str, Any] = {}
        self._lists = ""
        self._turn = 0
        self._draw()

    def _draw(self) -> None:
        lists = json.dumps(self.desk.words(), ensure_ascii=False)
        with Tag("section", "", "box typing", aria_label="The line to type"):
            with Tag(
                "div", "", "t-box", data_typing="", data_lists=lists, data_nets="[]"
            ) as self.box:
                self.box.props["data-more-keys"] = json.dumps(KEYS, ensure_ascii=False)
                with Tag("div", "", "t-line"):
                    self._field("name", "Reference", "t-name", "typed-name")
                    self._field("words", "Value, type or kind, and more", "t-words", "typed-words")
                self.is_ = Tag("p", "", "t-is", role="status").mark("is")
                self.ends: list[tuple[Tag, Tag, Tag, Tag]] = []
                with Tag("div", "", "t-line"):
                    for k in range(ENDS):
                        self.ends.append(self._end(k))
            self.wrong = Tag("p", "", "t-wrong", role="alert").mark("wrong")
            self.said = Tag("p", "", "said", id="said", role="status").mark("said")
            self.tools = Tag("div", "", "form t-tools")
            with Tag("p", "", "t-keys"):
                for key, words in (
                    ("Tab", "next field "),
                    ("Enter", "writes the line "),
                    ("↓", "suggestions "),
                    ("Esc", "leaves the field, then "),
                    ("?", "lists all keys"),
                ):
                    Tag("kbd", key)
                    Tag("span", f" {words}")
        for what, verb in (
            ("heard", self._hear),
            ("enter", self._enter),
            ("recall", self._recall),
            ("walk", self._walk),
        ):
            self.box.on(what, verb, args=["detail"])

    def _input(self, sort: str, key: str, start: str, label: str) -> Tag:
        made = Tag(
            "input",
            data_typed=sort,
            data_key=key,
            data_start=self.view.draft(start) or None,
            type="text",
            autocomplete="off",
            autocapitalize="off",
            spellcheck="false",
            maxlength=LONGEST,
            role=None if sort == "name" else "combobox",
            aria_label=label or None,
        )
        if sort != "name":
            made.props["aria-expanded"] = "false"
            made.props["aria-autocomplete"] = "list"
        return made

    def _field(self, sort: str, label: str, classes: str, key: str) -> None:
        with Tag("div", "", f"t-field {classes}"):
            Tag("label", label, for_=key)
            made = self._input(sort, key, key.replace("-", "_"), "")
            made.props["id"] = key
            if sort == "name":
                made.props["data-shortcut"] = "e"
                made.props["data-says"] = "the line to type"

    def _end(self, k: int) -> tuple[Tag, Tag, Tag, Tag]:
        with Tag("div", "", "t-field", hidden=True) as box:
            label = Tag("label", "", for_=f"typed-end-{k}")
            made = self._input("net", f"typed-end-{k}", f"typed_end_{k}", "")
            made.props["id"] = f"typed-end-{k}"
            hint = Tag("span", "", "t-hint").mark(f"hint-{k}")
        return box, label, made, hint

    # -- what the browser tells --------------------------------------------------------------------

    def _typed(self, event: events.GenericEventArguments) -> tuple[Typed, dict[str, Any]]:
        detail = event.args.get("detail")
        detail = detail if isinstance(detail, dict) else {}
        ends = detail.get("ends")
        texts = [str(t)[:LONGEST] for t in ends[:ENDS]] if isinstance(ends, list) else []
        name, words = str(detail.get("name", "")), str(detail.get("words", ""))
        return (name.strip()[:LONGEST], words.strip()[:LONGEST], texts), detail

    async def _hear(self, event: events.GenericEventArguments) -> None:
        (name, words, ends), detail = self._typed(event)
        self._keep(name, words, ends)
        await self.hear(name, words, ends)
        turn = detail.get("turn")
        if isinstance(turn, int):  # which the browser counts: its keys wait for the answer
            self._run(f"halfsplitTyping.shown({turn})")

    async def hear(self, name: str, words: str, ends: list[str]) -> None:
        """Show what a line as typed would say."""
        self.name = name
        self._turn = turn = self._turn + 1
        heard = await asyncio.to_thread(self.desk.hear, name, words, ends)
        if turn == self._turn and not self.box.is_deleted:
            self._show(heard, started=bool(words or any(ends)))

    def _show(self, heard: dict[str, Any], *, started: bool) -> None:
        self._heard = heard
        for k, (box, label, field, hint) in enumerate(self.ends):
            end = heard["ends"][k] if k < len(heard["ends"]) else None
            if (end is None) != bool(box.props.get("hidden")):
                if end is None:
                    box.props["hidden"] = True
                else:
                    box.props.pop("hidden", None)
                box.update()
            if end is None:
                continue
            box.classes(**{("add" if end["sort"] != "net" else "remove"): "wide"})
            label.text = end["label"] + ("" if end["needed"] else ", if any")
            if field.props["data-typed"] != end["sort"]:
                self._sort(field, end["sort"])
            tone, words = end["hint"]
            hint.text = words
            hint.classes(replace=f"t-hint {tone}")
        kind, where = heard["kind"], f", line {heard['line']} of the file" if heard["line"] else ""
        if not self.name:
            self.is_.text = ""
        elif heard["use"]:
            self.is_.text = f"{self.name} comes from the pattern’s use “{heard['use']}”"
        else:
            guess = ", by its letter" if heard["guessed"] and kind else ""
            self.is_.text = f"{self.name}: {kind or 'not known yet'}{guess}{where}"
        self.wrong.text = " ".join(w for _, w, _ in heard["problems"]) if started else ""

    def _sort(self, field: Tag, sort: str) -> None:
        """Tell the browser what completes a field; its text is the browser's, so no redraw."""
        field.props["data-typed"] = sort
        where = json.dumps(field.props["id"])
        self._run(f"document.getElementById({where}).dataset.typed = {json.dumps(sort)}")

    async def _enter(self, event: events.GenericEventArguments) -> None:
        (name, words, ends), detail = self._typed(event)
        sent = {"name": detail.get("name"), "words": detail.get("words"), "ends": ends}
        self._keep(name, words, ends)
        held = self.held[1] if self.held[0] == name else None
        self._turn += 1
        try:
            done = await asyncio.to_thread(self.desk.write, name, words, ends, held)
        except HalfsplitError as error:
            await self._refused(name, words, ends, error, sent)
            return
        self.held = ("", None)
        following = done["next"]
        self._keep(following, "", [])
        self._say(done, name)
        self.wrong.text = ""
        await self.hear(following, "", [])
        self._run(f"halfsplitTyping.written({json.dumps(sent)}, {json.dumps(following)})")
        await self.seen()

    def _say(self, done: dict[str, Any], name: str) -> None:
        """Said only now that it is on disk."""
        doubts = " ".join(done["doubts"])
        line = f", line {done['line']}" if done["line"] else ""
        self.said.text = f"{done['said']}{line}." + (f" Mind: {doubts}" if doubts else "")

    async def _refused(
        self, name: str, words: str, ends: list[str], error: HalfsplitError, sent: dict[str, Any]
    ) -> None:
        from halfsplit.assembly.entry_edit import ChangedError

        if isinstance(error, ChangedError):
            self.held = (name, error.now)
        self.said.text = ""
        await self.hear(name, words, ends)
        told = [str(error)]
        if isinstance(error, ProblemsError):  # the field it stands at is shown by itself
            told = [str(replace(p, path="", line=0)) for p in error.problems]
        self.wrong.text = " ".join(told)
        self._run(f"halfsplitTyping.refused({json.dumps(sent)}, {self._bad(error)})")

    def _bad(self, error: HalfsplitError) -> int:
        """Place of the field that is wrong: 0 the name, 1 the words, then the others."""
        if not isinstance(error, ProblemsError):
            return 0
        at = error.problems[0].path
        names = [e["name"] for e in self._heard.get("ends", [])]
        last = at.rpartition(".")[2]
        if at in names or last in names:
            return 2 + names.index(at if at in names else last)
        if at == "name" or (not at and not self.name):
            return 0
        return 1

    async def _recall(self, event: events.GenericEventArguments) -> None:
        (name, _, _), detail = self._typed(event)
        found = await asyncio.to_thread(self._found, name)
        if found is None:
            blank = {"name": name, "words": "", "ends": []}
            if not detail.get("dirty") and self.held[0]:
                self.held = ("", None)
                self._run(f"halfsplitTyping.fill({json.dumps(name)}, {json.dumps(blank)})")
            return
        if detail.get("dirty"):
            return  # said by the line it stands at, and asked again before anything is written
        self.held = (name, found["held"])
        self._run(f"halfsplitTyping.fill({json.dumps(name)}, {json.dumps(found)})")

    def _found(self, name: str) -> dict[str, Any] | None:
        try:
            found = self.desk.recall(name)
        except HalfsplitError:
            return None
        return None if found is None else {**found, "name": name}

    async def _walk(self, event: events.GenericEventArguments) -> None:
        (name, _, _), detail = self._typed(event)
        step = 1 if detail.get("step") == 1 else -1
        to = await asyncio.to_thread(self.desk.beside, name, step)
        await self.show(to)

    async def show(self, name: str) -> None:
        """An entry of the file, in the fields to be changed."""
        found = await asyncio.to_thread(self._found, name) if name else None
        if found is not None:
            self.held = (name, found["held"])
            self._run(f"halfsplitTyping.show({json.dumps(found)})")
            await self.hear(name, found["words"], found["ends"])

    def clear(self, name: str) -> None:
        """Empty fields for another entry."""
        blank = {"name": name, "words": "", "ends": []}
        self.held = ("", None)
        self._run(f"halfsplitTyping.show({json.dumps(blank)})")

    def lists(self, nets: list[list[str]]) -> None:
        """Nets to complete from, as the file names them now."""
        told = json.dumps(nets, ensure_ascii=False)
        if self.box.props.get("data-nets") != told:
            self.box.props["data-nets"] = told
            self.box.update()

    def _keep(self, name: str, words: str, ends: list[str]) -> None:
        texts = {f"typed_end_{k}": ends[k] if k < len(ends) else "" for k in range(ENDS)}
        self.view.keep_draft(typed_name=name, typed_words=words, **texts)

    def _run(self, script: str) -> None:
        if not self.box.is_deleted:
            # Text of a user inside a script: no end of a script element may be in it.
            self.box.client.run_javascript(script.replace("</", "<\\/"))
