"""The tables. Rows are only ever added; the database itself refuses anything else.

A correction is a new row whose ``replaces_id`` names the one it replaces, and the row that no
other replaces is in force. Batches, trays and eggs are known by the id of their first row
(``first_id`` in later ones), so that what refers to them stays right.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.types import TypeEngine


class UtcTime(TypeDecorator[datetime]):
    """A time in UTC that keeps its zone: ISO 8601 text in SQLite, which has no type for times."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        return dialect.type_descriptor(String(32) if dialect.name == "sqlite" else DateTime(timezone=True))

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value} has no time zone")
        utc = value.astimezone(UTC)
        return utc.isoformat(timespec="microseconds") if dialect.name == "sqlite" else utc

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        time = datetime.fromisoformat(value) if isinstance(value, str) else value
        return time.astimezone(UTC)


# Names for the constraints, so that a later migration can name them on every database.
metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _key() -> Column[int]:
    return Column("id", Integer, primary_key=True)


def _recorded() -> Column[datetime]:
    return Column("recorded_at", UtcTime, nullable=False)


def _refers(name: str, table: str, *, nullable: bool = False) -> Column[int]:
    return Column(name, Integer, ForeignKey(f"{table}.id"), nullable=nullable, index=True)


def _replaces(table: str) -> tuple[Column[int], UniqueConstraint]:
    # Unique: a row is replaced once, so two people correcting at the same time cannot both win.
    column: Column[int] = Column("replaces_id", Integer, ForeignKey(f"{table}.id"))
    return column, UniqueConstraint("replaces_id")


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False, server_default="")


batch = Table(
    "batch",
    metadata,
    _key(),
    _refers("first_id", "batch", nullable=True),
    *_replaces("batch"),
    Column("name", Text, nullable=False),
    Column("species", Text, nullable=False),
    Column("breeds", Text, nullable=False),  # JSON list of names
    Column("set_at", UtcTime, nullable=False),
    _text("note"),
    _recorded(),
)

tray = Table(
    "tray",
    metadata,
    _key(),
    _refers("first_id", "tray", nullable=True),
    *_replaces("tray"),
    _refers("batch_id", "batch"),
    Column("name", Text, nullable=False),
    Column("rows", Integer, nullable=False),
    Column("columns", Integer, nullable=False),
    Column("layout", Text, nullable=False),
    _recorded(),
    CheckConstraint("rows > 0 AND columns > 0", name="size"),
)

egg = Table(
    "egg",
    metadata,
    _key(),
    _refers("first_id", "egg", nullable=True),
    *_replaces("egg"),
    _refers("batch_id", "batch"),
    _refers("tray_id", "tray"),
    Column("cup", Text, nullable=False),
    _text("breed"),
    _text("source"),
    _text("mark"),
    _text("note"),
    Column("withdrawn", Boolean, nullable=False),
    _recorded(),
)

photo = Table(
    "photo",
    metadata,
    _key(),
    Column("sha256", String(64), nullable=False),
    Column("name", Text, nullable=False),
    Column("suffix", Text, nullable=False),
    Column("size_bytes", Integer, nullable=False),
    Column("width_px", Integer),
    Column("height_px", Integer),
    Column("taken_at", Text),
    _recorded(),
    UniqueConstraint("sha256"),
)

reading = Table(
    "reading",
    metadata,
    _key(),
    *_replaces("reading"),
    _refers("egg_id", "egg"),
    _refers("photo_id", "photo"),
    Column("number", Integer, nullable=False),
    Column("day", Float, nullable=False),
    Column("view", Text),
    Column("model", Text, nullable=False),
    Column("schema_version", Integer, nullable=False),
    Column("measured", Text, nullable=False),  # JSON
    _recorded(),
    CheckConstraint("day >= 0", name="day"),
)

proposal = Table(
    "proposal",
    metadata,
    _key(),
    *_replaces("proposal"),
    _refers("reading_id", "reading"),
    Column("status", Text, nullable=False),
    Column("clear", Float, nullable=False),
    Column("early_death", Float, nullable=False),
    Column("developing", Float, nullable=False),
    Column("decision", Text, nullable=False),
    Column("reasons", Text, nullable=False),  # JSON list of sentences
    Column("apparent_day", Float),
    Column("apparent_low", Float),
    Column("apparent_high", Float),
    _recorded(),
    CheckConstraint("status IN ('clear', 'early death', 'developing')", name="status"),
    CheckConstraint("decision IN ('pass', 'confirm', 'review')", name="decision"),
)

call = Table(
    "call",
    metadata,
    _key(),
    # Not unique: after an undo, the earlier call is in force again and may be replaced anew.
    _refers("replaces_id", "call", nullable=True),
    _refers("egg_id", "egg"),
    Column("status", Text),
    Column("who", Text, nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("proposal_id", Integer, ForeignKey("proposal.id")),
    Column("proposal_shown", Boolean, nullable=False),
    _text("note"),
    _recorded(),
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
    _key(),
    *_replaces("outcome"),
    _refers("egg_id", "egg"),
    Column("found", Text),
    Column("embryo_day", Float),
    Column("who", Text, nullable=False),
    Column("at", UtcTime, nullable=False),
    _text("note"),
    _recorded(),
    CheckConstraint(
        "found IN ('no development', 'ring', 'embryo', 'alive', 'not opened', 'hatched')", name="found"
    ),
    CheckConstraint("embryo_day IS NULL OR embryo_day >= 0", name="embryo_day"),
)

pull = Table(
    "pull",
    metadata,
    _key(),
    *_replaces("pull"),
    _refers("egg_id", "egg"),
    Column("pulled", Boolean, nullable=False),
    Column("who", Text, nullable=False),
    Column("at", UtcTime, nullable=False),
    _recorded(),
)

own_model = Table(
    "own_model",
    metadata,
    _key(),
    Column("name", Text, nullable=False),
    Column("sha256", String(64), nullable=False),  # of its file in the data folder
    Column("card", Text, nullable=False),  # JSON
    Column("who", Text, nullable=False),
    _recorded(),
    UniqueConstraint("name"),
)

# The newest row is in force; without a model it stands for the shipped one.
model_choice = Table(
    "model_choice",
    metadata,
    _key(),
    _refers("model_id", "own_model", nullable=True),
    Column("who", Text, nullable=False),
    _text("note"),
    _recorded(),
)

# The newest row on a reading stands.
swap_answer = Table(
    "swap_answer",
    metadata,
    _key(),
    _refers("reading_id", "reading"),
    Column("answer", Text, nullable=False),
    _refers("other_egg_id", "egg", nullable=True),
    Column("who", Text, nullable=False),
    _recorded(),
    CheckConstraint("answer IN ('swapped', 'same egg', 'not known')", name="answer"),
    CheckConstraint("(answer = 'swapped') = (other_egg_id IS NOT NULL)", name="other"),
)
