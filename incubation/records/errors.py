"""What a person can do about records that cannot be opened, read or added to."""

from __future__ import annotations


class RecordsError(Exception):
    """One sentence for the person: what is wrong and what to do."""


class QuestionedError(RecordsError):
    """An entry that is hardly possible: whoever is sure may record it with ``insist=True``."""
