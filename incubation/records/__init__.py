"""The records: batches, trays, eggs, photos, readings, proposals, calls, outcomes.

Everything is only ever added; what is in force is worked out from the rows. Functions take a
session of :class:`Records` and give out plain frozen records.
"""

from __future__ import annotations

from incubation.records.batches import (
    add_tray,
    batch_by_id,
    batch_by_name,
    correct_batch,
    day_of,
    list_batches,
    new_batch,
    tray_by_id,
    tray_by_name,
    trays_of,
)
from incubation.records.calls import add_call, call_in_force, calls_of, undo_call
from incubation.records.contradictions import EarlierContradicts, contradiction
from incubation.records.cups import cup_in, cup_order, tray_cups
from incubation.records.database import Records, default_folder, open_records
from incubation.records.eggs import (
    add_eggs,
    correct_egg,
    egg_at,
    egg_by_id,
    eggs_of,
    fill_tray,
    move_eggs,
    withdraw_egg,
)
from incubation.records.errors import RecordsError
from incubation.records.outcomes import add_outcome, outcome_of, outcomes_of, tick_pulled, untick_pulled
from incubation.records.photo_files import KeptFile
from incubation.records.photos import photo_by_id, store_photo
from incubation.records.readings import (
    add_reading,
    days_read,
    latest_looks,
    looks_of,
    looks_of_photo,
    looks_on,
    move_reading,
)
from incubation.records.rows import (
    CALL_STATUSES,
    DECISIONS,
    FOUND,
    LAYOUTS,
    PROPOSED,
    PULLED_STATUSES,
    ApparentDay,
    Batch,
    Call,
    Egg,
    EggHistory,
    EggState,
    Look,
    NewEgg,
    Outcome,
    Photo,
    Proposal,
    PullItem,
    Reading,
    Tray,
)
from incubation.records.states import egg_states, history_of, pull_list

__all__ = [
    "ApparentDay",
    "Batch",
    "CALL_STATUSES",
    "Call",
    "DECISIONS",
    "Egg",
    "EggHistory",
    "EarlierContradicts",
    "EggState",
    "FOUND",
    "LAYOUTS",
    "KeptFile",
    "Look",
    "NewEgg",
    "Outcome",
    "PROPOSED",
    "PULLED_STATUSES",
    "Photo",
    "Proposal",
    "PullItem",
    "Reading",
    "Records",
    "RecordsError",
    "Tray",
    "add_call",
    "add_eggs",
    "add_outcome",
    "add_reading",
    "add_tray",
    "batch_by_id",
    "batch_by_name",
    "call_in_force",
    "calls_of",
    "contradiction",
    "correct_batch",
    "correct_egg",
    "cup_in",
    "cup_order",
    "day_of",
    "days_read",
    "default_folder",
    "egg_at",
    "egg_by_id",
    "egg_states",
    "eggs_of",
    "fill_tray",
    "history_of",
    "latest_looks",
    "list_batches",
    "looks_of",
    "looks_of_photo",
    "looks_on",
    "move_eggs",
    "move_reading",
    "new_batch",
    "open_records",
    "outcome_of",
    "outcomes_of",
    "photo_by_id",
    "pull_list",
    "store_photo",
    "tick_pulled",
    "tray_by_id",
    "tray_by_name",
    "tray_cups",
    "trays_of",
    "undo_call",
    "untick_pulled",
    "withdraw_egg",
]
