"""What the person asked for cannot be done as asked."""

from __future__ import annotations


class UsageError(Exception):
    """One sentence for the person: what is wrong with the request and what to do instead."""


def sentence(error: Exception) -> str:
    """What an error says, with a capital at its beginning and a full stop at its end."""
    text = str(error)
    return f"{text[:1].upper()}{text[1:]}."
