"""What the records give out: plain frozen records, never a row that is tied to the database.

All times are in UTC and carry their zone. The ``id`` of a batch, tray or egg stays the same
whatever is corrected; ``row_id`` is that of the row now in force.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Literal, get_args

CallStatus = Literal["clear", "early death", "developing", "late death", "damaged", "cannot tell"]
Found = Literal["no development", "ring", "embryo", "alive", "not opened", "hatched"]

CALL_STATUSES: tuple[str, ...] = get_args(CallStatus)
PULLED_STATUSES: tuple[str, ...] = ("clear", "early death", "late death", "damaged")
FOUND: tuple[str, ...] = get_args(Found)
# What may be seen beside what was found.
SIGNS: tuple[str, ...] = (
    "helped",
    "culled",
    "pipped",
    "malposition",
    "malformed",
    "yolk not drawn in",
    "contaminated",
    "cracked",
)
PROPOSED: tuple[str, ...] = ("clear", "early death", "developing")
DECISIONS: tuple[str, ...] = ("pass", "confirm", "review")
LAYOUTS: tuple[str, ...] = ("grid", "staggered")


@dataclass(frozen=True)
class Batch:
    """Eggs set together. ``set_at`` is the moment of setting, the start of day 0."""

    id: int
    row_id: int
    name: str
    species: str
    breeds: tuple[str, ...]
    set_at: datetime
    note: str
    recorded_at: datetime


@dataclass(frozen=True)
class Tray:
    """A tray of a batch. In a ``staggered`` layout every other row is shifted by half a cup."""

    id: int
    row_id: int
    batch_id: int
    name: str
    rows: int
    columns: int
    layout: str
    recorded_at: datetime


@dataclass(frozen=True)
class NewEgg:
    """What is known of an egg when it is set; ``mark`` is what is written on its shell."""

    breed: str = ""
    source: str = ""
    mark: str = ""
    note: str = ""


@dataclass(frozen=True)
class Egg:
    """An egg and the cup it lies in; texts are empty where nothing was given."""

    id: int
    row_id: int
    batch_id: int
    tray_id: int
    cup: str
    breed: str
    source: str
    mark: str
    note: str
    recorded_at: datetime


@dataclass(frozen=True)
class Photo:
    """A photo, kept once. ``name`` is what its file was called, ``path`` where it is kept.

    ``taken_at`` is the camera's clock as in the results of ``trayglow examine``: ISO 8601, with an
    offset only where the camera wrote one.
    """

    id: int
    sha256: str
    name: str
    path: Path
    width_px: int | None
    height_px: int | None
    taken_at: str | None
    recorded_at: datetime


@dataclass(frozen=True)
class Reading:
    """What was measured on one egg in one photo.

    ``measured`` is the egg's entry in the results of ``trayglow examine`` (schema 1), ``number``
    its position among the photo's eggs, from 1; ``day`` the day of incubation.
    """

    id: int
    egg_id: int
    photo_id: int
    day: float
    view: str | None
    model: str
    number: int
    measured: Mapping[str, Any]
    recorded_at: datetime
    replaces_id: int | None


@dataclass(frozen=True)
class ApparentDay:
    """The day of incubation an egg looks like, with an interval, all in days."""

    day: float
    low: float
    high: float


@dataclass(frozen=True)
class Proposal:
    """What the model thought of a reading."""

    id: int
    reading_id: int
    status: str
    probability: Mapping[str, float]
    decision: str
    reasons: tuple[str, ...]
    apparent_day: ApparentDay | None
    recorded_at: datetime


@dataclass(frozen=True)
class Look:
    """One look at one egg: the photo, what was measured, what was proposed."""

    reading: Reading
    proposal: Proposal
    photo: Photo


@dataclass(frozen=True)
class Call:
    """A person's word on an egg.

    ``status`` is ``None`` for an undo, whose ``replaces_id`` names the call taken back; another
    call's ``replaces_id`` names the one that was in force until then. ``proposal_id`` is the
    proposal it was made against, ``proposal_shown`` whether that was in view.
    """

    id: int
    egg_id: int
    status: str | None
    who: str
    at: datetime
    proposal_id: int | None
    proposal_shown: bool
    note: str
    replaces_id: int | None
    recorded_at: datetime


@dataclass(frozen=True)
class Outcome:
    """What was found, not judged; ``found`` is ``None`` where an earlier one was taken back.

    ``signs`` are those of :data:`SIGNS` that were seen with it: a chick that was helped out has
    ``hatched`` and ``helped``, one that died in the open shell ``embryo`` and ``pipped``.
    """

    id: int
    egg_id: int
    found: str | None
    embryo_day: float | None
    who: str
    at: datetime
    note: str
    replaces_id: int | None
    recorded_at: datetime
    signs: tuple[str, ...] = ()


@dataclass(frozen=True)
class EggState:
    """Where an egg stands now.

    ``look`` is the newest one (highest day, then the one stored last), ``call`` the one in force;
    ``called_since_look`` says whether that call was made after that look.
    """

    egg: Egg
    tray: Tray
    look: Look | None
    call: Call | None
    outcome: Outcome | None
    pulled: bool
    pulled_at: datetime | None
    called_since_look: bool


@dataclass(frozen=True)
class EggHistory:
    """All that is recorded of one egg, oldest first.

    ``looks`` are those in force, oldest day first; ``calls`` and ``outcomes`` are all rows, undone
    ones included; ``places`` all rows of the egg itself.
    """

    egg: Egg
    tray: Tray
    looks: tuple[Look, ...]
    calls: tuple[Call, ...]
    call: Call | None
    outcomes: tuple[Outcome, ...]
    outcome: Outcome | None
    pulled: bool
    places: tuple[Egg, ...]


@dataclass(frozen=True)
class PullItem:
    """An egg to be taken out; ``caution`` is a reason to candle it once more first."""

    state: EggState
    caution: str | None
