"""What all tables are made of: the time's type, names of constraints, and columns that recur."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    Column,
    DateTime,
    Dialect,
    ForeignKey,
    Integer,
    MetaData,
    String,
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


def key() -> Column[int]:
    """A row's own number."""
    return Column("id", Integer, primary_key=True)


def recorded() -> Column[datetime]:
    """When the row was added."""
    return Column("recorded_at", UtcTime, nullable=False)


def refers(name: str, table: str, *, nullable: bool = False, index: bool = True) -> Column[int]:
    """The number of a row in another table; without an index of its own where a wider one serves."""
    return Column(name, Integer, ForeignKey(f"{table}.id"), nullable=nullable, index=index)


def replaces(table: str) -> tuple[Column[int], UniqueConstraint]:
    """The row that this one corrects."""
    # Unique: a row is replaced once, so two people correcting at the same time cannot both win.
    column: Column[int] = Column("replaces_id", Integer, ForeignKey(f"{table}.id"))
    return column, UniqueConstraint("replaces_id")


def text(name: str) -> Column[str]:
    """A text that may be empty."""
    return Column(name, Text, nullable=False, server_default="")
