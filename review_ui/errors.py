"""What the person asked for cannot be done as asked."""

from __future__ import annotations


class UsageError(Exception):
    """One sentence for the person: what is wrong with the request and what to do instead."""
