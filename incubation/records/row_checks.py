"""Whether the rows go together: what the program's own functions see to, asked of the rows themselves.

For rows that came from elsewhere (an archive, a backup) and for the check of one's own records.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Table, and_, exists, func, or_, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import in_force, plain, things
from incubation.records.cups import cup_order
from incubation.records.errors import RecordsError
from incubation.records.photo_files import kept_suffixes
from incubation.records.rows import LAYOUTS, SIGNS
from incubation.species import species_named

_SHA256 = re.compile(r"[0-9a-f]{64}", re.ASCII)
_MODEL_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}", re.ASCII)
_FIRST_FEW = 20  # problems of one kind that are named one by one

# Texts that are JSON, and of which kind.
JSON_COLUMNS: dict[tuple[str, str], type] = {
    ("batch", "breeds"): list,
    ("reading", "measured"): dict,
    ("proposal", "reasons"): list,
    ("outcome", "signs"): list,
    ("own_model", "card"): dict,
    ("egg_detail", "findings"): list,
    ("logger_format", "mapping"): dict,
}
DATE_COLUMNS = (("egg_lot", "laid_from"), ("egg_lot", "laid_to"), ("egg_detail", "laid_on"))
# Of what a row stays the same row of, however it is corrected.
_BELONGS: dict[str, tuple[str, ...]] = {
    "reading": ("photo_id",),
    "proposal": ("reading_id",),
    "call": ("egg_id",),
    "outcome": ("egg_id",),
    "pull": ("egg_id",),
    "instrument_check": ("instrument_id",),
    "tray_place": ("tray_id",),
    "egg_detail": ("egg_id",),
    "log_entry": ("machine_id",),
    "weighing": ("tray_id", "egg_id"),
    "hatch_basket": ("egg_id",),
    "batch_event": ("batch_id",),
    "tray": ("batch_id",),
    "egg": ("batch_id",),
    "egg_lot": ("batch_id",),
    "chick": ("batch_id",),
}
# Tables of which one row at most is in force for what they belong to.
_ONE_IN_FORCE = {
    "proposal": "reading_id",
    "outcome": "egg_id",
    "pull": "egg_id",
    "egg_detail": "egg_id",
    "hatch_basket": "egg_id",
}


def row_problems(session: Session) -> tuple[str, ...]:
    """Everything that is wrong with the rows, a sentence each; empty where they go together."""
    checks = (_dangling, _corrections, _several_in_force, _names, _cups, _values)
    return tuple(problem for check in checks for problem in check(session))


def _dangling(session: Session) -> Iterator[str]:
    """Numbers of rows that there are not."""
    for table in tables.metadata.sorted_tables:
        for key in table.foreign_keys:
            target = tables.metadata.tables[key.column.table.name]
            there = target.alias()
            lost = and_(key.parent.is_not(None), ~exists().where(there.c.id == key.parent))
            yield from _named(session, table, lost, f"names a row of table {target.name} that is not there")
            if "first_id" in there.c and key.parent.name not in ("first_id", "replaces_id"):
                later = exists().where(there.c.id == key.parent, there.c.first_id.is_not(None))
                yield from _named(
                    session,
                    table,
                    later,
                    f"names a correction in table {target.name} instead of its first row",
                )


def _corrections(session: Session) -> Iterator[str]:
    """Corrections that replace a later row, or one of something else."""
    for table in tables.metadata.sorted_tables:
        if "replaces_id" not in table.c:
            continue
        old = table.alias()
        yield from _named(session, table, table.c.replaces_id >= table.c.id, "replaces a later row")
        for column in _BELONGS.get(table.name, ()):
            other = exists().where(
                old.c.id == table.c.replaces_id, old.c[column].is_distinct_from(table.c[column])
            )
            yield from _named(
                session, table, other, f"replaces a row of another {column.removesuffix('_id')}"
            )
        if "first_id" in table.c:
            other = exists().where(
                old.c.id == table.c.replaces_id,
                func.coalesce(old.c.first_id, old.c.id).is_distinct_from(table.c.first_id),
            )
            lone = or_(
                other,
                and_(table.c.first_id.is_(None), table.c.replaces_id.is_not(None)),
                and_(table.c.first_id.is_not(None), table.c.replaces_id.is_(None)),
            )
            yield from _named(session, table, lone, "replaces a row of something else")


def _several_in_force(session: Session) -> Iterator[str]:
    for name, column in _ONE_IN_FORCE.items():
        table = tables.metadata.tables[name]
        owner = table.c[column]
        query = select(owner).where(in_force(table)).group_by(owner).having(func.count() > 1)
        for key in session.scalars(query.limit(_FIRST_FEW)):
            what = column.removesuffix("_id")
            yield f"Several rows of table {name} are in force for {what} {key}, where one may be."


def _names(session: Session) -> Iterator[str]:
    """Names that two things have."""
    for name, within in (("batch", None), ("machine", None), ("instrument", None), ("tray", "batch_id"),
                         ("egg_lot", "batch_id")):  # fmt: skip
        table = tables.metadata.tables[name]
        counted = Counter(
            (plain(row["name"]), row[within] if within else None)
            for row in session.execute(things(table)).mappings()
        )
        for (same, _), count in counted.items():
            if count > 1:
                yield f"{count} rows of table {name} are in force with the name {same!r}, where one may be."


def _cups(session: Session) -> Iterator[str]:
    """Cups in which two eggs lie, or that the tray does not have."""
    sizes = {row["own_id"]: row for row in session.execute(things(tables.tray)).mappings()}
    pulled = select(tables.pull.c.egg_id).where(in_force(tables.pull), tables.pull.c.pulled)
    gone = set(session.scalars(pulled))
    lying: Counter[tuple[int, str]] = Counter()
    for row in session.execute(things(tables.egg)).mappings():
        if not row["withdrawn"] and row["own_id"] not in gone:
            lying[row["tray_id"], row["cup"]] += 1
        tray = sizes.get(row["tray_id"])
        try:
            at = cup_order(row["cup"])
        except RecordsError:
            at = None
        if tray is None or at is None or at[0] >= tray["rows"] or at[1] >= tray["columns"]:
            yield f"Egg {row['own_id']} lies in a cup {row['cup']!r} that its tray does not have."
        elif tray["batch_id"] != row["batch_id"]:
            yield f"Egg {row['own_id']} lies in a tray of another batch."
    for (tray_id, cup), count in lying.items():
        if count > 1:
            yield f"{count} eggs lie in cup {cup} of tray {tray_id}, where one may."


def _values(session: Session) -> Iterator[str]:
    """Texts that must be of a kind."""
    from incubation.choosing import FINDINGS  # brings SciPy, which takes long to load

    for (name, column), kind in JSON_COLUMNS.items():
        for key, text in _column(session, name, column):
            if not is_json(text, kind):
                yield f"Row {key} of table {name} has a {column} that cannot be read."
    for name, column in DATE_COLUMNS:
        for key, text in _column(session, name, column):
            if text is not None and not _is_date(text):
                yield f"Row {key} of table {name} has a {column} that is no date."
    for name, column, known in (("egg_detail", "findings", FINDINGS), ("outcome", "signs", SIGNS)):
        for key, text in _column(session, name, column):
            if is_json(text, list) and set(map(str, json.loads(text))) - set(known):
                yield f"Row {key} of table {name} has {column} that are not known: {text[:100]}."
    for key, text in _column(session, "tray", "layout"):
        if text not in LAYOUTS:
            yield f"Row {key} of table tray has a layout that is not known: {text[:50]!r}."
    for key, text in _column(session, "batch", "species"):
        if not _is_species(text):
            yield f"Row {key} of table batch has a species that is not known: {text[:50]!r}."
    for row in session.execute(select(tables.photo)).mappings():
        if not _SHA256.fullmatch(row["sha256"]) or row["suffix"] not in kept_suffixes():
            yield f"Row {row['id']} of table photo names no file of the folder of photos."
    for key, text in _column(session, "own_model", "name"):
        if not _MODEL_NAME.fullmatch(text):
            yield f"Row {key} of table own_model has a name that can be no file's: {text[:50]!r}."


def is_json(text: str, kind: type) -> bool:
    """Whether a text is JSON of a kind."""
    try:
        return isinstance(json.loads(text), kind)
    except (ValueError, RecursionError):
        return False


def _is_date(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _is_species(name: str) -> bool:
    try:
        return species_named(name).name == name
    except ValueError:
        return False


def _column(session: Session, name: str, column: str) -> list[tuple[int, Any]]:
    table = tables.metadata.tables[name]
    return [(row[0], row[1]) for row in session.execute(select(table.c.id, table.c[column]))]


def _named(session: Session, table: Table, wrong: ColumnElement[bool], words: str) -> Iterator[str]:
    query = select(table.c.id).where(wrong).order_by(table.c.id).limit(_FIRST_FEW)
    for key in session.scalars(query):
        yield f"Row {key} of table {table.name} {words}."
