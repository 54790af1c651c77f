"""Words of people and of the model, where the screens take Markdown."""

from __future__ import annotations

_MARKS = "\\`*_{}[]<>#$~|:"


def plain(text: str) -> str:
    """Text in which Markdown has no meaning: a batch's name or a reason is shown as it was written."""
    return "".join(f"\\{letter}" if letter in _MARKS else letter for letter in text)
