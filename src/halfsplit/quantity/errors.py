"""The one error this package raises for a spelling it will not read."""

from __future__ import annotations

_LONGEST_QUOTE = 40


def quoted(text: str) -> str:
    """`text` in quotes, shortened, with anything unprintable escaped."""
    return repr(text if len(text) <= _LONGEST_QUOTE else text[:_LONGEST_QUOTE] + "...")


class QuantityError(ValueError):
    """A typed value was refused.

    It is a ``ValueError`` so that a validator can raise it and keep the place in the user's file.

    Attributes
    ----------
    text: what the user typed, unchanged.
    wrong: what is wrong, one sentence with its full stop.
    instead: a spelling that works; alternatives are joined with " or ", and a mere example of the
        form begins with "a value such as ". Reads on from the word "Write".
    position: index in `text`, counted from 0, where the trouble starts.
    """

    def __init__(self, text: str, wrong: str, instead: str = "", position: int = 0) -> None:
        super().__init__(f"{wrong} Write {instead}." if instead else wrong)
        self.text = text
        self.wrong = wrong
        self.instead = instead
        self.position = position

    def __reduce__(self) -> tuple[type[QuantityError], tuple[str, str, str, int]]:
        """Let the error cross a process boundary whole."""
        return type(self), (self.text, self.wrong, self.instead, self.position)
