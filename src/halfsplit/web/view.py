"""What a page is given: its machine, what all pages share, and parts that stay current."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any, TypeVar

from nicegui import background_tasks, ui

from halfsplit.problems import HalfsplitError, Problem, ProblemsError
from halfsplit.web.drafts import Drafts
from halfsplit.web.house import Place
from halfsplit.web.html import Tag, button
from halfsplit.web.pieces.said import of_problem
from halfsplit.web.prints import Prints

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

T = TypeVar("T")
UNSET = object()


def plain(problem: Problem) -> str:
    """A problem in words for the page, where nobody types options of the command line."""
    wrong, instead = of_problem(problem.wrong), of_problem(problem.instead).replace("--", "")
    if problem.past == "sure":
        instead += ", or store it all the same"
    return str(Problem("", 0, 0, problem.path, wrong, instead))


def words_of(error: BaseException) -> list[str]:
    """What went wrong, one line a problem."""
    if isinstance(error, ProblemsError):
        return [plain(p) for p in error.problems]
    if isinstance(error, HalfsplitError):
        return [str(error)]
    return [f"this went wrong inside the program: {type(error).__name__}: {error}"]


class View:
    """One page of one machine, open in one browser.

    Attributes
    ----------
    place: the machine; see :class:`Place` for its verbs. drafts: what is half typed. prints: what
    is ready to be opened in a tab of its own.
    """

    def __init__(self, place: Place, drafts: Drafts, prints: Prints | None = None) -> None:
        self.place = place
        self.drafts = drafts
        self.prints = prints or Prints()
        self._alert: Tag | None = None

    @property
    def ledger(self) -> dict[str, Any]:
        """What the journal says; see :func:`halfsplit.bench.ledger.ledger_dict`."""
        return self.place.desk.ledger

    @property
    def facts(self) -> dict[str, Any]:
        """Names to choose from; see :func:`halfsplit.bench.ledger.facts_dict`."""
        return self.place.desk.facts

    def draft(self, name: str) -> str:
        """A field's text as last typed on any page of this machine."""
        return self.drafts.fields(self.place.machine).get(name, "")

    def keep_draft(self, **texts: str) -> None:
        """Note what fields hold now; empty forgets them."""
        self.drafts.put(self.place.machine, **texts)

    def live(
        self,
        data: Callable[[], T],
        draw: Callable[[T], Any],
        tag: str = "div",
        classes: str = "",
        **attributes: Any,
    ) -> Tag:
        """A part drawn from `data`, and drawn again whenever that differs from what it shows."""
        box = Tag(tag, "", classes, **attributes)
        shown: list[Any] = [UNSET]

        def refresh() -> None:
            if box.is_deleted:  # what it was part of was drawn anew
                self.place.changed.unsubscribe(refresh)
                return
            now = data()
            if shown[0] is not UNSET and shown[0] == now:
                return
            shown[0] = now
            box.clear()
            with box:
                draw(now)

        refresh()
        self.place.changed.subscribe(refresh)
        return box

    def alerts(self) -> None:
        """Where :meth:`alert` says what went wrong; the frame puts it on every page."""
        self._alert = Tag("div", "", "alert", role="alert", hidden=True)

    def alert(self, lines: list[str], more: Callable[[], None] | None = None) -> None:
        """Say what went wrong; `more` may draw a button to go on. No line takes it away."""
        if self._alert is None or self._alert.is_deleted:
            return
        self._alert.clear()
        if lines:
            self._alert.props.pop("hidden", None)
        else:
            self._alert.props["hidden"] = True
        with self._alert:
            for line in lines:
                Tag("p", line)
            if more is not None:
                more()
            if lines:
                button("Close", lambda: self.alert([]), "quiet", data_key="close-alert")
        self._alert.update()

    async def trying(self, verb: Awaitable[T]) -> T | None:
        """What a verb returned, or None when it failed and the page said why."""
        self.alert([])
        try:
            return await verb
        except HalfsplitError as error:
            self.alert(words_of(error))
        return None

    def worked(
        self,
        verb: Callable[[Session], T],
        draw: Callable[[T], Any],
        *,
        what: str,
        about: str,
        at_once: bool = True,
    ) -> Tag:
        """A part that must be worked out on the thinker: what it is in words, a button for it, and
        once it is there, `draw` with which entry it is of.

        It begins by itself unless `at_once` is no, or the machine is of the slow sort.
        """
        box = Tag("div", "", "worked")

        async def work() -> None:
            last = self.ledger["last"]
            found = await self.trying(self.place.ask(verb, what))
            if box.is_deleted:
                return
            box.clear()
            with box:
                if found is not None:
                    draw(found)
                self.live(lambda: self.ledger["last"] != last, late, tag="p")
                button("Work it out again", work, data_key="again")

        def late(is_late: bool) -> None:
            if is_late:
                Tag("span", "Entries came since this was worked out.", "behind")

        with box:
            Tag("p", about, "quiet-words")
            button("Work it out", work, "act", data_key="again")
        if at_once and not self.facts["slow"]:
            background_tasks.create(work(), name=what)
        return box

    def go(self, path: str) -> None:
        """Open another page of the app."""
        ui.navigate.to(path)
