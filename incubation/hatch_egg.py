"""One egg of a hatch that is over, as the statistics after the hatch see it; and one line of the log.

Plain frozen records: whoever holds the book fills them in, the modules on rates, ages at death, causes
and planning read them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

Fate = Literal["hatched", "infertile", "clear", "dead", "pipped", "alive", "not opened", "damaged", "unknown"]
FATES: tuple[Fate, ...] = get_args(Fate)

DEVELOPED: tuple[Fate, ...] = ("hatched", "dead", "pipped", "alive")
DIED: tuple[Fate, ...] = ("dead", "pipped")


def fate_of(
    found: str | None,
    *,
    signs: Sequence[str] = (),
    called: str | None = None,
    seen_living: bool = False,
    hatch_over: bool = True,
) -> Fate:
    """The fate of an egg from what was found in it, else from what a person called it at candling.

    Parameters
    ----------
    found
        ``"hatched"``, ``"alive"``, ``"embryo"``, ``"ring"``, ``"no development"``, ``"not opened"``, or
        ``None`` where nothing was written down.
    signs
        ``"pipped"`` makes a dead embryo a pipped one.
    called
        The last call: ``"clear"``, ``"early death"``, ``"late death"``, ``"developing"``, ``"damaged"``,
        ``"cannot tell"``; never a proposal that nobody confirmed.
    seen_living
        A person called it developing at some candling.
    hatch_over
        Whether eggs that have not hatched will not any more.

    Notes
    -----
    What was found outweighs every call. A clear that was not opened stays ``"clear"``: it may have been an
    early death. An egg seen living that nobody opened died once the hatch is over.
    """
    by_finding: dict[str, Fate] = {
        "hatched": "hatched",
        "alive": "alive",
        "embryo": "pipped" if "pipped" in signs else "dead",
        "ring": "dead",
        "no development": "infertile",
    }
    if found in by_finding:
        return by_finding[found]
    if found not in (None, "not opened"):
        raise ValueError(
            f"{found!r} is not known as a finding; give one of {', '.join(by_finding)}, not opened"
        )
    by_call: dict[str, Fate] = {
        "damaged": "damaged",
        "clear": "clear",
        "early death": "dead",
        "late death": "dead",
    }
    if called in by_call:
        return by_call[called]
    if hatch_over and (seen_living or called == "developing"):
        return "dead"
    return "not opened" if found == "not opened" else "unknown"


def row_letters(row: int) -> str:
    """Letters of a tray's row counted from 0: 0 is A, 25 is Z, 26 is AA."""
    letters, rest = "", row + 1
    while rest:
        rest, digit = divmod(rest - 1, 26)
        letters = chr(ord("A") + digit) + letters
    return letters


@dataclass(frozen=True)
class HatchEgg:
    """What is known of one egg after the hatch. ``None`` and an empty text mean: not known.

    Attributes
    ----------
    name
        How the person finds it in the book, a cup or a mark.
    fate
        ``"hatched"`` (helped ones too); ``"infertile"``: opened, nothing had begun to grow;
        ``"clear"``: taken for clear at candling and not opened, so whether it was fertile is not known;
        ``"dead"``: an embryo, or a blood ring, that died in the shell; ``"pipped"``: had pipped and died;
        ``"alive"``: opened with a living embryo; ``"not opened"``: did not hatch, was never seen to develop,
        was not opened; ``"damaged"``: broken by handling; ``"unknown"``: nothing was written down.
        An egg that was seen to develop and did not hatch is ``"dead"`` even where nobody opened it.
    candled_clear
        It was called clear at candling, whatever was found in it later.
    breed, pen, sire, dam
        Where it comes from in the flock.
    source
        Whose flock; empty for one's own.
    shipped
        It came by post or carrier.
    storage_days
        Days from laying to setting.
    machine, shelf, tray, row, column
        Where it lay in incubation; row and column count from 0.
    died_low_day, died_high_day
        The embryo died between these days of incubation, see :mod:`incubation.death_age`.
    water_loss_percent
        Of the fresh mass, by the day of lockdown.
    signs
        What else was seen: ``"helped"``, ``"culled"``, ``"malposition"``, ``"contaminated"`` (rotten),
        ``"cracked"`` and the like.

    Raises
    ------
    ValueError
        Where the fate is not known, a day is out of order, or a number is not one.
    """

    name: str
    fate: Fate
    candled_clear: bool = False
    breed: str = ""
    pen: str = ""
    sire: str = ""
    dam: str = ""
    source: str = ""
    shipped: bool = False
    storage_days: float | None = None
    machine: str = ""
    shelf: int | None = None
    tray: str = ""
    row: int | None = None
    column: int | None = None
    died_low_day: float | None = None
    died_high_day: float | None = None
    water_loss_percent: float | None = None
    signs: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.fate not in FATES:
            known = ", ".join(FATES)
            raise ValueError(f"egg {self.name}: fate {self.fate!r} is not known; give one of {known}")
        for field in ("storage_days", "died_low_day", "died_high_day"):
            value = getattr(self, field)
            if value is not None and not (math.isfinite(value) and value >= 0):
                raise ValueError(f"egg {self.name}: {field} must be a number of days from 0, not {value}")
        if self.water_loss_percent is not None and not math.isfinite(self.water_loss_percent):
            raise ValueError(
                f"egg {self.name}: water_loss_percent must be a number, not {self.water_loss_percent}"
            )
        low, high = self.died_low_day, self.died_high_day
        if (low is None) != (high is None):
            raise ValueError(f"egg {self.name}: give both days between which it died, or none")
        if low is not None and high is not None:
            if low > high:
                raise ValueError(
                    f"egg {self.name}: died between day {low:g} and day {high:g} is out of order"
                )
            if self.fate not in DIED:
                raise ValueError(f"egg {self.name}: it is {self.fate}, so no day of death belongs to it")

    @property
    def developed(self) -> bool:
        """An embryo is known to have grown in it."""
        return self.fate in DEVELOPED

    @property
    def died(self) -> bool:
        """Its embryo died in the shell."""
        return self.fate in DIED

    @property
    def died_between(self) -> tuple[float, float] | None:
        """Days between which it died, where known."""
        if self.died_low_day is None or self.died_high_day is None:
            return None
        return self.died_low_day, self.died_high_day


@dataclass(frozen=True)
class LogPoint:
    """One reading of a machine's log, corrected for its instruments.

    Attributes
    ----------
    day
        Days since setting; parts of a day count.
    temperature_c, humidity_percent
        ``None`` where not read.
    machine
        As in :class:`HatchEgg`.
    """

    day: float
    temperature_c: float | None = None
    humidity_percent: float | None = None
    machine: str = ""
