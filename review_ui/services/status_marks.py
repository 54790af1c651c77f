"""How each status is told: by a word, a shape and a pattern, and by colour only beside these."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Shape = Literal["circle", "square", "diamond", "hexagon", "triangle", "egg"]
Pattern = Literal["veins", "plain", "ring", "bars", "zigzag", "dots"]


@dataclass(frozen=True)
class StatusMark:
    """One status on the screens.

    Attributes
    ----------
    word
        The status as it is stored and said.
    short
        At most six letters, for a cup of the tray map.
    shape, pattern
        Outline of the mark and what fills it; no two statuses share either.
    colour
        ``#rrggbb``, light enough for a dark ground.
    """

    word: str
    short: str
    shape: Shape
    pattern: Pattern
    colour: str


# Hues after Okabe & Ito (2008), dimmed for a dark room; shape and pattern carry the meaning.
STATUS_MARKS: Mapping[str, StatusMark] = MappingProxyType(
    {
        mark.word: mark
        for mark in (
            StatusMark("developing", "dev", "circle", "veins", "#79b594"),
            StatusMark("clear", "clear", "square", "plain", "#9dbfd4"),
            StatusMark("early death", "early", "diamond", "ring", "#d98f6a"),
            StatusMark("late death", "late", "hexagon", "bars", "#c08fb0"),
            StatusMark("damaged", "dmg", "triangle", "zigzag", "#cdb765"),
            StatusMark("cannot tell", "unsure", "egg", "dots", "#b3a898"),
        )
    }
)
