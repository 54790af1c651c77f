"""Everything that is recorded as tables for a spreadsheet or a statistics program: CSV or Parquet.

Each table has all its rows, corrected and withdrawn ones too, with the columns ``thing_id`` (what
stays the same however it is corrected) and ``in_force``. The table ``egg_overview`` has one row an
egg with what is known of it now.
"""

from __future__ import annotations

import csv
import uuid
from collections.abc import Iterable, Mapping
from contextlib import suppress
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Table, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.batches import list_batches, trays_of
from incubation.records.calls import calls_of_eggs, standing_call
from incubation.records.chicks import chicks_of
from incubation.records.common import in_force
from incubation.records.egg_details import egg_details_of, origin_of
from incubation.records.errors import RecordsError
from incubation.records.hatch_baskets import baskets_of
from incubation.records.lots import lots_of
from incubation.records.states import egg_states

TableFormat = Literal["csv", "parquet"]
OVERVIEW = "egg_overview"
# A spreadsheet reckons with a cell that begins so, as if it were a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
_ROWS_AT_ONCE = 2000

_OVERVIEW_FIELDS: dict[str, type] = {
    **dict.fromkeys(("egg_id", "batch_id", "tray_id"), int),
    **dict.fromkeys(("batch", "species", "tray", "cup", "breed", "source", "mark", "note"), str),
    **dict.fromkeys(("lot", "origin", "pen", "sire", "dam", "laid_from", "laid_to", "findings"), str),
    **dict.fromkeys(("mass_g", "length_mm", "breadth_mm"), float),
    "set_at": datetime,
    "last_look_day": float,
    **dict.fromkeys(("proposed", "decision", "call", "called_by", "found"), str),
    "embryo_day": float,
    "signs": str,
    "pulled_at": datetime,
    **dict.fromkeys(("basket", "chick_mark"), str),
    "hatched_at": datetime,
}


def export_tables(session: Session, folder: Path, *, kind: TableFormat = "csv") -> tuple[Path, ...]:
    """Write every table to a file of its own.

    In CSV, text that a spreadsheet would take for a formula gets an apostrophe in front; times
    are ISO 8601 in UTC. Parquet keeps all as it is.

    Parameters
    ----------
    session
        Any session.
    folder
        Where to; made if missing. Files of these names are replaced.
    kind
        ``csv`` or ``parquet``.

    Returns
    -------
    The files.

    Raises
    ------
    RecordsError
        Where they cannot be written.
    """
    if kind not in ("csv", "parquet"):
        raise RecordsError(f"{kind!r} is no kind of file for tables; give csv or parquet.")
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for table in tables.metadata.sorted_tables:
            path = folder / f"{table.name}.{kind}"
            _write(path, _table_fields(table), _table_rows(session, table), kind)
            written.append(path)
        path = folder / f"{OVERVIEW}.{kind}"
        _write(path, _OVERVIEW_FIELDS, egg_overview(session), kind)
        written.append(path)
    except OSError as error:
        raise RecordsError(
            f"The tables could not be written to {folder} ({error.strerror or error}); name another folder."
        ) from error
    return tuple(written)


def egg_overview(session: Session, batch_id: int | None = None) -> Iterable[dict[str, Any]]:
    """One row an egg, of one batch or of all, with what is known of it now."""
    for batch in list_batches(session):
        if batch_id not in (None, batch.id):
            continue
        trays = {tray.id: tray.name for tray in trays_of(session, batch.id)}
        lots = {lot.id: lot for lot in lots_of(session, batch.id)}
        details, baskets = egg_details_of(session, batch.id), baskets_of(session, batch.id)
        chicks = {chick.egg_id: chick for chick in chicks_of(session, batch.id) if chick.egg_id is not None}
        for state in egg_states(session, batch.id):
            egg, look, call, outcome = state.egg, state.look, state.call, state.outcome
            detail, chick = details.get(egg.id), chicks.get(egg.id)
            lot = lots.get(detail.lot_id) if detail and detail.lot_id is not None else None
            origin = origin_of(detail, lot) if detail else None
            yield {
                "egg_id": egg.id,
                "batch_id": batch.id,
                "tray_id": egg.tray_id,
                "batch": batch.name,
                "species": batch.species,
                "tray": trays[egg.tray_id],
                "cup": egg.cup,
                **{name: getattr(egg, name) for name in ("breed", "source", "mark", "note")},
                "lot": lot.name if lot else "",
                "origin": lot.origin if lot else "",
                **{name: getattr(origin, name) if origin else "" for name in ("pen", "sire", "dam")},
                "laid_from": str(origin.laid_from) if origin and origin.laid_from else None,
                "laid_to": str(origin.laid_to) if origin and origin.laid_to else None,
                "findings": ", ".join(detail.findings) if detail else "",
                **{
                    name: getattr(detail, name) if detail else None
                    for name in ("mass_g", "length_mm", "breadth_mm")
                },
                "set_at": batch.set_at,
                "last_look_day": look.reading.day if look else None,
                "proposed": look.proposal.status if look else None,
                "decision": look.proposal.decision if look else None,
                "call": call.status if call else None,
                "called_by": call.who if call else None,
                "found": outcome.found if outcome else None,
                "embryo_day": outcome.embryo_day if outcome else None,
                "signs": ", ".join(outcome.signs) if outcome else None,
                "pulled_at": state.pulled_at,
                "basket": baskets[egg.id].basket if egg.id in baskets else "",
                "chick_mark": chick.mark if chick else None,
                "hatched_at": chick.hatched_at if chick else None,
            }


def harmless_cell(value: Any) -> Any:
    """A cell that no spreadsheet takes for a formula; numbers stay numbers."""
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, str) and value.startswith(_FORMULA):
        return f"'{value}"
    return value


def _table_fields(table: Table) -> dict[str, type]:
    fields: dict[str, type] = {
        column.name: datetime if isinstance(column.type, tables.UtcTime) else column.type.python_type
        for column in table.columns
    }
    return {**fields, "thing_id": int, "in_force": bool}


def _table_rows(session: Session, table: Table) -> Iterable[dict[str, Any]]:
    if table.name == "call":
        standing = _standing_calls(session)
    elif "replaces_id" in table.c:
        standing = set(session.scalars(select(table.c.id).where(in_force(table))))
    else:
        standing = None
    query = select(table).order_by(table.c.id).execution_options(yield_per=_ROWS_AT_ONCE)
    for row in session.execute(query).mappings():
        yield {
            **row,
            "thing_id": row.get("first_id") or row["id"],
            "in_force": (standing is None or row["id"] in standing) and not row.get("withdrawn", False),
        }


def _standing_calls(session: Session) -> set[int]:
    """An undo is not replaced itself, and what lies under it is in force again."""
    piles = calls_of_eggs(session, select(tables.call.c.egg_id)).values()
    return {call.id for pile in piles if (call := standing_call(pile)) is not None}


def _write(path: Path, fields: Mapping[str, type], rows: Iterable[Mapping[str, Any]], kind: str) -> None:
    part = path.with_name(f".{uuid.uuid4().hex}.part")
    try:
        if kind == "csv":
            # With a mark, so that spreadsheets read it as UTF-8.
            with part.open("x", encoding="utf-8-sig", newline="") as file:
                writer = csv.writer(file)
                writer.writerow(fields)
                writer.writerows([harmless_cell(row[name]) for name in fields] for row in rows)
        else:
            _write_parquet(part, fields, rows)
        part.replace(path)
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def _write_parquet(path: Path, fields: Mapping[str, type], rows: Iterable[Mapping[str, Any]]) -> None:
    # Loaded only where it is asked for: it takes longer than all else together.
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = {
        int: pa.int64(),
        float: pa.float64(),
        bool: pa.bool_(),
        str: pa.string(),
        datetime: pa.timestamp("us", tz="UTC"),
    }
    schema = pa.schema([pa.field(name, kinds[kind]) for name, kind in fields.items()])
    rest = iter(rows)
    with pq.ParquetWriter(path, schema) as file:
        while some := [dict(row) for row in islice(rest, _ROWS_AT_ONCE)]:
            file.write_table(pa.Table.from_pylist(some, schema))
