"""Advice that ends in a command to type, said for somebody on a page."""

from __future__ import annotations

import re

# The bench's words are the same for every face; what a command does is elsewhere on the pages.
_SAYS: tuple[tuple[str, str], ...] = (
    (r": ?(?:observe )?(?:--)?part \S+ (?:--)?sign as-drawn", " at the step “Fuses to drawing”"),
    (r": ?observe --part \S+ --good", " on the page “Bench”, tested good"),
    (r": ?(?:halfsplit )?protect FILE .*$", ", on the page “Protection”"),
    (r": ?change --ambient", ", set on the page “Bench”"),
    (r"change FILE --feed off first", "say first that it is off"),
    (r": \w+\.\w+=<\w+>", ""),
    (r"--withhold \S+", "withhold it first"),
    (r"--fit (\S+) once it is in", r"\1 fitted first"),
)
_RULES = [(re.compile(pattern), words) for pattern, words in _SAYS]


def for_page(text: str) -> str:
    """Words of the bench without what only a command line understands."""
    for pattern, words in _RULES:
        text = pattern.sub(words, text)
    return text
