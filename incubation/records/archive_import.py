"""Reads an archive of all rows back into empty records, trusting nothing in it.

It is read twice: first to the end without touching the records, so that a file that is cut off or
changed is refused with nothing written; then the rows go in by one transaction, which is taken back
unless they also go together.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from alembic.script import ScriptDirectory
from sqlalchemy import Table, func, insert, select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.archive import (
    ARCHIVE_FORMAT,
    FILE_NAME,
    ArchiveSummary,
    Progress,
    from_json,
    is_photo_of,
    recorded_files,
)
from incubation.records.database import Records
from incubation.records.errors import RecordsError
from incubation.records.migrate import MIGRATIONS
from incubation.records.photo_files import write_whole
from incubation.records.row_checks import row_problems

_LONGEST_LINE = 256 * 2**20  # a large photo as base64
_ROWS_AT_ONCE = 500


@dataclass
class _Content:
    """What the first reading found."""

    rows: Counter[str] = field(default_factory=Counter)
    files: dict[str, str] = field(default_factory=dict)  # name to SHA-256


def import_archive(records: Records, path: Path, *, progress: Progress | None = None) -> ArchiveSummary:
    """Fill empty records with the rows of an archive, and with its files where it has them.

    Parameters
    ----------
    records
        Records in which nothing was recorded yet.
    path
        The archive.
    progress
        Called with what is done and how much there is.

    Raises
    ------
    RecordsError
        Where the records are not empty, or the file is no archive, is damaged, was changed, is of a
        newer version or holds rows that do not go together. Nothing is written then.
    """
    with records.read() as session:
        require_empty(session)
    content = _checked_content(path)
    added: list[Path] = []
    try:
        with records.write() as session:
            require_empty(session)
            _insert_rows(session, path, sum(content.rows.values()), progress)
            if problems := row_problems(session):
                raise _refusal(path, f"its rows do not go together ({problems[0].rstrip('.')})")
            missing = _write_files(session, records.folder, path, content, added)
    except BaseException:
        for file in added:
            with suppress(OSError):
                file.unlink()
        raise
    return ArchiveSummary(
        {table.name: content.rows[table.name] for table in tables.metadata.sorted_tables},
        len(content.files),
        missing,
    )


def require_empty(session: Session) -> None:
    """See that nothing was recorded yet.

    Raises
    ------
    RecordsError
        Where something was.
    """
    for table in tables.metadata.sorted_tables:
        if session.scalar(select(table.c.id).limit(1)) is not None:
            raise RecordsError(
                "Something is recorded here already, and an archive is read only into empty records; name "
                "another folder or database for it."
            )


def _checked_content(path: Path) -> _Content:
    """Read the whole file once, every value of it.

    Raises
    ------
    RecordsError
        Where anything is not as it should be.
    """
    content, digest = _Content(), hashlib.sha256()
    stated: dict[str, int] = {}
    last_id: dict[str, int] = {}
    ended = False
    for number, (data, line) in enumerate(_lines(path), start=1):
        where = f"line {number}"
        if number == 1:
            stated = _checked_header(path, line)
        elif ended:
            raise _refusal(path, f"something follows its last line ({where})")
        elif line.get("end") is True:
            if line.get("sha256") != digest.hexdigest():
                raise _refusal(path, "it was changed after it was written (its checksum is another)")
            ended = True
        elif "table" in line:
            table, row = _checked_row(path, line, where)
            if row["id"] <= last_id.get(table.name, 0):
                raise _refusal(path, f"its rows are out of order ({where})")
            last_id[table.name] = row["id"]
            content.rows[table.name] += 1
        elif "file" in line:
            name, file = _checked_file(path, line, where)
            if name in content.files:
                raise _refusal(path, f"it holds the file {name} twice ({where})")
            content.files[name] = hashlib.sha256(file).hexdigest()
        else:
            raise _refusal(path, f"{where} is not of an archive")
        digest.update(data)
    if not ended:
        raise _refusal(path, "it is cut off: its end is missing")
    if any(content.rows[name] != count for name, count in stated.items()) or content.rows.keys() - stated:
        raise _refusal(path, "it holds other numbers of rows than its first line says")
    return content


def _checked_header(path: Path, line: dict[str, Any]) -> dict[str, int]:
    version, revision, rows = line.get("trayglow_archive"), line.get("revision"), line.get("rows")
    if version is None or not isinstance(rows, dict):
        raise _refusal(path, "it is no archive of Trayglow's")
    known = {script.revision for script in ScriptDirectory(str(MIGRATIONS)).walk_revisions()}
    if version != ARCHIVE_FORMAT or revision not in known:
        raise RecordsError(
            f"The archive {path} was made by another, probably newer version of Trayglow; install that "
            "version, or a later one, to read it."
        )
    if not all(type(count) is int and count >= 0 for count in rows.values()):
        raise _refusal(path, "its first line is not of an archive")
    return rows


def _checked_row(path: Path, line: dict[str, Any], where: str) -> tuple[Table, dict[str, Any]]:
    name, values = line["table"], line.get("row")
    table = tables.metadata.tables.get(name) if isinstance(name, str) else None
    if table is None or not isinstance(values, dict) or line.keys() - {"table", "row"}:
        raise _refusal(path, f"{where} is not of an archive")
    if unknown := values.keys() - table.c.keys():
        raise _refusal(path, f"{where} has a field {sorted(unknown)[0]!r} that table {name} does not have")
    row = {}
    for column in table.columns:
        # An archive of an older version lacks columns that came later.
        if column.name not in values and (column.nullable or column.server_default is not None):
            continue
        try:
            row[column.name] = from_json(column, values.get(column.name))
        except (ValueError, OverflowError) as error:
            why = (
                str(error)
                if type(error) is ValueError and str(error).startswith(("is", "holds"))
                else "is wrong"
            )
            raise _refusal(path, f"{where}: {column.name} of table {name} {why}") from error
    if row["id"] < 1:
        raise _refusal(path, f"{where}: a row's number is less than 1")
    return table, row


def _checked_file(path: Path, line: dict[str, Any], where: str) -> tuple[str, bytes]:
    name, packed = line["file"], line.get("base64")
    match = FILE_NAME.fullmatch(name) if isinstance(name, str) else None
    if match is None or not isinstance(packed, str):
        raise _refusal(path, f"{where} holds no file of Trayglow's")
    try:
        data = base64.b64decode(packed, validate=True)
    except ValueError as error:
        raise _refusal(path, f"{where}: the file {name} cannot be read") from error
    if not is_photo_of(name, data):
        raise _refusal(path, f"{where}: the photo {name} is damaged")
    return name, data


def _insert_rows(session: Session, path: Path, whole: int, progress: Progress | None) -> None:
    waiting: list[dict[str, Any]] = []
    of: Table | None = None
    done = 0

    def write() -> None:
        nonlocal done
        if of is not None and waiting:
            session.execute(insert(of), waiting)
            done += len(waiting)
            waiting.clear()
            if progress is not None:
                progress(done, whole)

    try:
        for number, (_, line) in enumerate(_lines(path), start=1):
            if "table" not in line:
                continue
            table, row = _checked_row(path, line, f"line {number}")
            if (
                table is not of
                or len(waiting) >= _ROWS_AT_ONCE
                or (waiting and row.keys() != waiting[0].keys())
            ):
                write()
                of = table
            waiting.append(row)
        write()
    except DBAPIError as error:
        why = " ".join(str(error.orig).split())[:200]
        raise _refusal(path, f"its rows do not go together ({why})") from error
    _next_numbers(session)


def _next_numbers(session: Session) -> None:
    """Let a server count on from the highest number; SQLite does by itself."""
    if session.get_bind().dialect.name != "postgresql":
        return
    for table in tables.metadata.sorted_tables:
        highest = session.scalar(select(func.max(table.c.id)))
        if highest is not None:
            session.execute(
                text("SELECT setval(pg_get_serial_sequence(:name, 'id'), :highest)"),
                {"name": f'"{table.name}"', "highest": highest},
            )


def _write_files(
    session: Session, folder: Path, path: Path, content: _Content, added: list[Path]
) -> tuple[str, ...]:
    """Put the archive's files in their places; the names of those that it lacks."""
    expected = dict(recorded_files(session, folder))
    if strange := content.files.keys() - expected.keys():
        raise _refusal(path, f"it holds a file that no row names ({sorted(strange)[0]})")
    for _, line in _lines(path) if content.files else ():
        if "file" not in line:
            continue
        name, data = _checked_file(path, line, "a file")
        if hashlib.sha256(data).hexdigest() != content.files.get(name):
            raise _refusal(path, "it changed while it was read")
        place = expected[name]
        if place.exists():
            continue
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            added.append(place)
            write_whole(place, data)
        except OSError as error:
            raise RecordsError(
                f"{place} could not be written ({error.strerror or error}), so nothing was imported."
            ) from error
    return tuple(sorted(name for name, place in expected.items() if not place.is_file()))


def _lines(path: Path) -> Iterator[tuple[bytes, dict[str, Any]]]:
    """The lines of the file, each as it is and as JSON."""
    try:
        with path.open("rb") as file:
            while data := file.readline(_LONGEST_LINE):
                yield data, _parsed(path, data)
    except OSError as error:
        raise RecordsError(f"The archive {path} could not be read ({error.strerror or error}).") from error


def _parsed(path: Path, data: bytes) -> dict[str, Any]:
    if not data.endswith(b"\n"):
        raise _refusal(path, "it is cut off, or no archive of Trayglow's")
    try:
        line = json.loads(data, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise _refusal(path, "it is damaged, or no archive of Trayglow's") from error
    if not isinstance(line, dict):
        raise _refusal(path, "it is no archive of Trayglow's")
    return line


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _refusal(path: Path, why: str) -> RecordsError:
    return RecordsError(f"The archive {path} was not imported: {why}. Nothing was written.")
