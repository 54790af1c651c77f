"""A tray as text: one word a cup, as the eggs stand."""

from __future__ import annotations

from collections.abc import Sequence

from incubation.records import EggState, Tray, tray_cups

NO_EGG, NOT_YET = ".", "egg"
LEGEND = """\
. no egg; egg: not looked at yet; a word in small letters is proposed, one in CAPITALS was called;
? look closely; ! confirm before pulling; (in brackets) pulled"""

_WORDS = {
    "clear": "clear",
    "early death": "early",
    "developing": "alive",
    "late death": "late",
    "damaged": "damaged",
    "cannot tell": "unsure",
}
_DOUBT = {"pass": "", "confirm": "!", "review": "?"}


def tray_text(tray: Tray, states: Sequence[EggState]) -> str:
    """The tray's cups in rows, and what the words mean.

    Parameters
    ----------
    tray
        The tray.
    states
        How the eggs stand; those of other trays are passed over.
    """
    words: dict[str, str] = {}
    for state in states:
        # A pulled egg shows only until another lies in its cup.
        if state.egg.tray_id == tray.id and not (state.pulled and state.egg.cup in words):
            words[state.egg.cup] = cup_word(state)
    cells = [words.get(cup, NO_EGG) for cup in tray_cups(tray)]
    width = max(len(cell) for cell in (*cells, str(tray.columns)))
    names = [cup.rstrip("0123456789") for cup in tray_cups(tray)[:: tray.columns]]
    margin = max(map(len, names))
    lines = [_line("", [str(column + 1) for column in range(tray.columns)], margin, width)]
    for row, name in enumerate(names):
        shift = " " * ((width + 2) // 2) if tray.layout == "staggered" and row % 2 else ""
        lines.append(_line(name, cells[row * tray.columns : (row + 1) * tray.columns], margin, width, shift))
    return "\n".join([*lines, LEGEND, ""])


def cup_word(state: EggState) -> str:
    """How one egg stands, in a word.

    A call that is older than the newest look is shown with ``?``: the egg is to be looked at again.
    """
    if state.call is not None and state.call.status is not None:
        word = _WORDS[state.call.status].upper()
        if state.look is not None and not state.called_since_look and not state.pulled:
            word += "?" if state.look.proposal.decision != "pass" or state.call.status != "developing" else ""
    elif state.look is not None:
        word = _WORDS[state.look.proposal.status] + _DOUBT[state.look.proposal.decision]
    else:
        word = NOT_YET
    return f"({word})" if state.pulled else word


def _line(name: str, cells: Sequence[str], margin: int, width: int, shift: str = "") -> str:
    return f"{name:<{margin}}  {shift}{'  '.join(cell.ljust(width) for cell in cells)}".rstrip()
