"""The tables. Rows are only ever added; the database itself refuses anything else.

A correction is a new row whose ``replaces_id`` names the one it replaces, and the row that no
other replaces is in force. Batches, trays, eggs, machines, instruments, lots and chicks are known by
the id of their first row (``first_id`` in later ones), so that what refers to them stays right.
"""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from incubation.records.husbandry_tables import (
    batch_event,
    chick,
    egg_detail,
    egg_lot,
    hatch_basket,
    instrument,
    instrument_check,
    log_entry,
    log_import,
    logger_format,
    machine,
    tray_place,
    weighing,
)
from incubation.records.table_parts import UtcTime, key, metadata, recorded, refers, replaces, text

__all__ = [
    "UtcTime",
    "batch",
    "batch_event",
    "call",
    "chick",
    "egg",
    "egg_detail",
    "egg_lot",
    "hatch_basket",
    "instrument",
    "instrument_check",
    "log_entry",
    "log_import",
    "logger_format",
    "machine",
    "metadata",
    "model_choice",
    "outcome",
    "own_model",
    "photo",
    "proposal",
    "pull",
    "reading",
    "swap_answer",
    "tray",
    "tray_place",
    "weighing",
]

batch = Table(
    "batch",
    metadata,
    key(),
    refers("first_id", "batch", nullable=True),
    *replaces("batch"),
    Column("name", Text, nullable=False),
    Column("species", Text, nullable=False),
    Column("breeds", Text, nullable=False),  # JSON list of names
    Column("set_at", UtcTime, nullable=False),
    text("note"),
    recorded(),
)

tray = Table(
    "tray",
    metadata,
    key(),
    refers("first_id", "tray", nullable=True),
    *replaces("tray"),
    refers("batch_id", "batch"),
    Column("name", Text, nullable=False),
    Column("rows", Integer, nullable=False),
    Column("columns", Integer, nullable=False),
    Column("layout", Text, nullable=False),
    recorded(),
    CheckConstraint("rows > 0 AND columns > 0", name="size"),
)

egg = Table(
    "egg",
    metadata,
    key(),
    refers("first_id", "egg", nullable=True),
    *replaces("egg"),
    refers("batch_id", "batch"),
    refers("tray_id", "tray"),
    Column("cup", Text, nullable=False),
    text("breed"),
    text("source"),
    text("mark"),
    text("note"),
    Column("withdrawn", Boolean, nullable=False),
    recorded(),
)

photo = Table(
    "photo",
    metadata,
    key(),
    Column("sha256", String(64), nullable=False),
    Column("name", Text, nullable=False),
    Column("suffix", Text, nullable=False),
    Column("size_bytes", Integer, nullable=False),
    Column("width_px", Integer),
    Column("height_px", Integer),
    Column("taken_at", Text),
    recorded(),
    UniqueConstraint("sha256"),
)

reading = Table(
    "reading",
    metadata,
    key(),
    *replaces("reading"),
    refers("egg_id", "egg"),
    refers("photo_id", "photo"),
    Column("number", Integer, nullable=False),
    Column("day", Float, nullable=False),
    Column("view", Text),
    Column("model", Text, nullable=False),
    Column("schema_version", Integer, nullable=False),
    Column("measured", Text, nullable=False),  # JSON
    recorded(),
    CheckConstraint("day >= 0", name="day"),
)

proposal = Table(
    "proposal",
    metadata,
    key(),
    *replaces("proposal"),
    refers("reading_id", "reading"),
    Column("status", Text, nullable=False),
    Column("clear", Float, nullable=False),
    Column("early_death", Float, nullable=False),
    Column("developing", Float, nullable=False),
    Column("decision", Text, nullable=False),
    Column("reasons", Text, nullable=False),  # JSON list of sentences
    Column("apparent_day", Float),
    Column("apparent_low", Float),
    Column("apparent_high", Float),
    recorded(),
    CheckConstraint("status IN ('clear', 'early death', 'developing')", name="status"),
    CheckConstraint("decision IN ('pass', 'confirm', 'review')", name="decision"),
)

call = Table(
    "call",
    metadata,
    key(),
    # Not unique: after an undo, the earlier call is in force again and may be replaced anew.
    refers("replaces_id", "call", nullable=True),
    refers("egg_id", "egg"),
    Column("status", Text),
    Column("who", Text, nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("proposal_id", Integer, ForeignKey("proposal.id")),
    Column("proposal_shown", Boolean, nullable=False),
    text("note"),
    recorded(),
    CheckConstraint(
        "status IN ('clear', 'early death', 'developing', 'late death', 'damaged', 'cannot tell')",
        name="status",
    ),
    CheckConstraint("status IS NOT NULL OR replaces_id IS NOT NULL", name="undo"),
)
# A call is taken back once.
Index(
    "uq_call_undone",
    call.c.replaces_id,
    unique=True,
    sqlite_where=call.c.status.is_(None),
    postgresql_where=call.c.status.is_(None),
)

outcome = Table(
    "outcome",
    metadata,
    key(),
    *replaces("outcome"),
    refers("egg_id", "egg"),
    Column("found", Text),
    Column("embryo_day", Float),
    Column("who", Text, nullable=False),
    Column("at", UtcTime, nullable=False),
    text("note"),
    Column("signs", Text, nullable=False, server_default="[]"),  # JSON list of what else was seen
    recorded(),
    CheckConstraint(
        "found IN ('no development', 'ring', 'embryo', 'alive', 'not opened', 'hatched')", name="found"
    ),
    CheckConstraint("embryo_day IS NULL OR embryo_day >= 0", name="embryo_day"),
)

pull = Table(
    "pull",
    metadata,
    key(),
    *replaces("pull"),
    refers("egg_id", "egg"),
    Column("pulled", Boolean, nullable=False),
    Column("who", Text, nullable=False),
    Column("at", UtcTime, nullable=False),
    recorded(),
)

own_model = Table(
    "own_model",
    metadata,
    key(),
    Column("name", Text, nullable=False),
    Column("sha256", String(64), nullable=False),  # of its file in the data folder
    Column("card", Text, nullable=False),  # JSON
    Column("who", Text, nullable=False),
    recorded(),
    UniqueConstraint("name"),
)

# The newest row is in force; without a model it stands for the shipped one.
model_choice = Table(
    "model_choice",
    metadata,
    key(),
    refers("model_id", "own_model", nullable=True),
    Column("who", Text, nullable=False),
    text("note"),
    recorded(),
)

# The newest row on a reading stands.
swap_answer = Table(
    "swap_answer",
    metadata,
    key(),
    refers("reading_id", "reading"),
    Column("answer", Text, nullable=False),
    refers("other_egg_id", "egg", nullable=True),
    Column("who", Text, nullable=False),
    recorded(),
    CheckConstraint("answer IN ('swapped', 'same egg', 'not known')", name="answer"),
    CheckConstraint("(answer = 'swapped') = (other_egg_id IS NOT NULL)", name="other"),
)
