"""All rows as one file of JSON Lines, and back.

The first line says what it is, then comes a line for each row, tables in the order in which they
can be filled, and the last line holds the SHA-256 of all before it. Photos and own models are
files beside the records: they are in it where asked for, as base64.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from alembic.runtime.migration import MigrationContext
from sqlalchemy import Column, func, select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import now
from incubation.records.database import PHOTO_FOLDER, Records
from incubation.records.errors import RecordsError
from incubation.records.own_models import model_path
from incubation.records.photo_files import photo_path

ARCHIVE_FORMAT = 1
# How files are named in archives and backups; nothing else is ever written from one.
FILE_NAME = re.compile(
    r"photos/([0-9a-f]{2})/\1[0-9a-f]{62}\.[a-z]{3,4}|models/[A-Za-z0-9][A-Za-z0-9._-]*\.json"
)
_ROWS_AT_ONCE = 500
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class ArchiveSummary:
    """What an archive holds: rows by table, files, and the photos that are in the rows but not as files."""

    rows: dict[str, int]
    files: int
    files_missing: tuple[str, ...]

    @property
    def rows_in_all(self) -> int:
        """Of all tables."""
        return sum(self.rows.values())


def write_archive(
    records: Records, path: Path, *, with_files: bool = False, progress: Progress | None = None
) -> ArchiveSummary:
    """Write everything that is recorded, as it is at one moment, to a file.

    The file appears whole or not at all; one of this name is replaced.

    Parameters
    ----------
    records
        The records; others may go on writing.
    path
        Where to.
    with_files
        Also the photos and own models themselves.
    progress
        Called with what is done and how much there is.

    Raises
    ------
    RecordsError
        Where it cannot be written.
    """
    part = path.with_name(f".{uuid.uuid4().hex}.part")
    try:
        with part.open("xb") as file, records.read() as session:
            summary = write_archive_to(
                file, session, records.folder, with_files=with_files, progress=progress
            )
        part.replace(path)
    except OSError as error:
        raise RecordsError(
            f"The archive could not be written to {path} ({error.strerror or error}); name another place."
        ) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    return summary


def write_archive_to(
    file: IO[bytes],
    session: Session,
    folder: Path,
    *,
    with_files: bool = False,
    progress: Progress | None = None,
) -> ArchiveSummary:
    """As :func:`write_archive`, to an open file and from an open session."""
    counts = {
        table.name: int(session.scalar(select(func.count()).select_from(table)) or 0)
        for table in tables.metadata.sorted_tables
    }
    digest = hashlib.sha256()

    def put(line: dict[str, Any]) -> None:
        data = json.dumps(line, allow_nan=False, ensure_ascii=False).encode() + b"\n"
        digest.update(data)
        file.write(data)

    put(
        {
            "trayglow_archive": ARCHIVE_FORMAT,
            "revision": MigrationContext.configure(session.connection()).get_current_revision(),
            "made_at": now().isoformat(),
            "rows": counts,
        }
    )
    done, whole = 0, sum(counts.values())
    for table in tables.metadata.sorted_tables:
        query = select(table).order_by(table.c.id).execution_options(yield_per=_ROWS_AT_ONCE)
        for row in session.execute(query).mappings():
            put({"table": table.name, "row": {name: to_json(value) for name, value in row.items()}})
            done += 1
            if progress is not None and done % _ROWS_AT_ONCE == 0:
                progress(done, whole)
    files, missing = 0, []
    for name, path in recorded_files(session, folder):
        data = _whole_file(name, path) if with_files else None
        if data is None:
            missing.append(name)
        else:
            put({"file": name, "base64": base64.b64encode(data).decode()})
            files += 1
    put({"end": True, "sha256": digest.hexdigest()})
    if progress is not None:
        progress(whole, whole)
    return ArchiveSummary(counts, files, tuple(missing))


def recorded_files(session: Session, folder: Path) -> Iterator[tuple[str, Path]]:
    """Every file that the rows name, as ``photos/ab/abcd.jpg`` or ``models/own-1.json``, and its place.

    Without those whose names lead elsewhere; :func:`incubation.records.row_checks.row_problems`
    tells of them.
    """
    photo, own = tables.photo, tables.own_model
    photos = session.execute(select(photo.c.sha256, photo.c.suffix).order_by(photo.c.id))
    yield from named_files(folder, photos.all(), session.scalars(select(own.c.name).order_by(own.c.id)))


def named_files(
    folder: Path, photos: Iterable[Sequence[str]], models: Iterable[str]
) -> Iterator[tuple[str, Path]]:
    """As :func:`recorded_files`, from the hashes and endings of photos and the names of models."""
    places = [photo_path(folder / PHOTO_FOLDER, sha256, suffix) for sha256, suffix in photos]
    places += [model_path(folder, name) for name in models]
    for place in places:
        name = place.relative_to(folder).as_posix()
        if FILE_NAME.fullmatch(name):
            yield name, place


def is_photo_of(name: str, data: bytes) -> bool:
    """Whether a file that is named as a photo has the content that its name says; any other has."""
    return not name.startswith("photos/") or Path(name).stem == hashlib.sha256(data).hexdigest()


def _whole_file(name: str, path: Path) -> bytes | None:
    """A file's bytes; ``None`` where it is missing or damaged."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    return data if is_photo_of(name, data) else None


def to_json(value: Any) -> Any:
    """A value of a column as JSON has it; a time as ISO 8601 in UTC."""
    return value.isoformat(timespec="microseconds") if isinstance(value, datetime) else value


def from_json(column: Column[Any], value: Any) -> Any:
    """A value of a column from JSON.

    Raises
    ------
    ValueError
        Where it is not of the column's kind.
    """
    if value is None:
        if not column.nullable:
            raise ValueError("is missing")
        return None
    kind = column.type.python_type
    if isinstance(column.type, tables.UtcTime):
        if not isinstance(value, str):
            raise ValueError("is no time")
        time = datetime.fromisoformat(value)
        if time.tzinfo is None:
            raise ValueError("is a time without a zone")
        return time
    if kind is float and type(value) in (int, float):
        return float(value)
    if type(value) is not kind:
        raise ValueError("is of the wrong kind")
    if kind is int and not -(2**31) <= value < 2**31:
        raise ValueError("is too large a number")
    if kind is str:
        # Halves of characters and NUL cannot be kept by every database.
        value.encode()
        if "\0" in value:
            raise ValueError("holds a character that cannot be kept")
    return value
