"""SVG as text: elements with every attribute and every word escaped."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

# A dash below this is drawn as nothing on any screen or printer.
_PLACES = 2
# What XML 1.0 allows as a character, less the controls nobody can see; others become "�".
_ALLOWED = {"\t", "\n"}


def clean(text: str) -> str:
    """Text with the characters XML cannot hold (controls, lone surrogates) replaced, unescaped."""
    return "".join(
        c
        if c in _ALLOWED or (c >= " " and not "\ud800" <= c <= "\udfff" and c not in "\ufffe\uffff")
        else "\ufffd"
        for c in text
    )


def number(value: float | int | str) -> str:
    """A coordinate in its shortest form."""
    if isinstance(value, str):
        return value
    text = f"{value:.{_PLACES}f}".rstrip("0").rstrip(".") if isinstance(value, float) else value
    return "0" if text in ("-0", "") else str(text)


def el(tag: str, attrs: dict[str, float | int | str | None], *inside: str) -> str:
    """One element; an attribute of None is left out, `inside` is markup already made."""
    said = "".join(
        f' {name}="{escape(clean(number(value)))}"'
        for name, value in attrs.items()
        if value is not None
    )
    return f"<{tag}{said}>{''.join(inside)}</{tag}>" if inside else f"<{tag}{said}/>"


def words(text: str) -> str:
    """User's text as markup."""
    return escape(clean(text))


def text(x: float, y: float, said: str, **attrs: float | int | str | None) -> str:
    """A line of text; attribute names take `_` for `-`, `class_` for `class`."""
    named = {k.rstrip("_").replace("_", "-"): v for k, v in attrs.items()}
    return el("text", {"x": x, "y": y, **named}, words(said))


def title(said: str) -> str:
    """Name of what it stands in, read out and shown on hovering."""
    return f"<title>{words(said)}</title>"


def page(
    wide: float, high: float, name: str, inside: Iterable[str], **attrs: float | int | str | None
) -> str:
    """A whole drawing of this size, with its accessible name."""
    named = {k.rstrip("_").replace("_", "-"): v for k, v in attrs.items()}
    head: dict[str, float | int | str | None] = {
        "xmlns": "http://www.w3.org/2000/svg",
        "viewBox": f"0 0 {number(float(wide))} {number(float(high))}",
        "role": "img",
        **named,
    }
    return el("svg", head, "\n", title(name), "\n", "\n".join(inside), "\n") + "\n"
