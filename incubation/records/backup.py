"""Backups: one file with the database, the photos and the own models, as they were at one moment.

A backup is a ZIP file. ``backup.json`` in it lists every other file with its size and SHA-256. The
database is copied first, by SQLite's own online backup, which gives one committed state however
much others write meanwhile; a photo's file is in its place before its row is, and is never
removed, so every photo of that state is there. On another database the rows are kept as an archive.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import tempfile
import uuid
import zipfile
import zlib
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from sqlalchemy import URL

from incubation.records.archive import FILE_NAME, named_files, recorded_files, write_archive, write_archive_to
from incubation.records.archive_import import import_archive
from incubation.records.common import now
from incubation.records.database import DATABASE_FILE, Records, open_records
from incubation.records.database_checks import database_problems
from incubation.records.errors import RecordsError

BACKUP_FORMAT = 1
LIST_NAME, ARCHIVE_NAME = "backup.json", "records.jsonl"
_CHUNK = 2**20
_LONGEST_LIST = 2**28
# What reading a damaged ZIP file may end in.
_BROKEN = (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError, ValueError, zlib.error)
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class BackupSummary:
    """What a backup holds.

    ``missing`` and ``damaged`` name photos and models that were not, or not whole, in the data
    folder when it was made.
    """

    path: Path
    made_at: datetime
    files: int
    size_bytes: int
    missing: tuple[str, ...]
    damaged: tuple[str, ...]


def make_backup(records: Records, path: Path, *, progress: Progress | None = None) -> BackupSummary:
    """Write a backup; it appears whole or not at all.

    Parameters
    ----------
    records
        The records; others may go on writing.
    path
        Where to: a file, or a folder in which it is named by its date.
    progress
        Called with the files done and how many there are.

    Raises
    ------
    RecordsError
        Where it cannot be written, or a file of this name is there.
    """
    made_at = now()
    if path.is_dir():
        path = path / f"trayglow-backup-{made_at.astimezone():%Y-%m-%d-%H%M%S}.zip"
    if path.exists():
        raise RecordsError(f"There is a file {path} already; name another for the backup.")
    part = path.with_name(f".{uuid.uuid4().hex}.part")
    try:
        # The copy of the database lies beside the backup: there must be room for it there.
        with tempfile.TemporaryDirectory(prefix=".backup-", dir=path.parent) as held:
            summary = _write(records, part, Path(held), made_at, progress)
        part.replace(path)
    except (OSError, zipfile.LargeZipFile) as error:
        raise RecordsError(
            f"The backup could not be written to {path} ({getattr(error, 'strerror', None) or error}); make "
            "room or name another place."
        ) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    return BackupSummary(path, made_at, summary["files"], path.stat().st_size, *summary["trouble"])


def restore_backup(
    path: Path, folder: Path, *, url: str | None = None, progress: Progress | None = None
) -> BackupSummary:
    """Put a backup's content into an empty or new folder, whole or not at all.

    Every file is checked against the backup's list, and the database for damage, before anything
    is in the folder.

    Parameters
    ----------
    path
        The backup.
    folder
        The data folder to make.
    url
        Another, empty database for the rows, such as ``postgresql+psycopg://...``; by default
        SQLite in the folder.
    progress
        Called with the files done and how many there are.

    Raises
    ------
    RecordsError
        Where the folder is not empty, or the file is no backup, is damaged or was changed.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise RecordsError(f"{folder} is not empty, and a backup is restored only into an empty folder.")
    folder = folder.absolute()
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder.parent) as held:
            place = Path(held) / "data"
            place.mkdir()
            listed = _unpack(path, place, progress)
            _put_in_place(path, place, url)
            if folder.exists():
                folder.rmdir()
            place.replace(folder)
    except OSError as error:
        raise RecordsError(
            f"The backup could not be restored into {folder} ({error.strerror or error}); make room or name "
            "another folder."
        ) from error
    return _summary(path, listed)


def backup_content(path: Path) -> BackupSummary:
    """What a backup says of itself, without checking every file in it.

    Raises
    ------
    RecordsError
        Where it is none.
    """
    with _opened(path) as packed:
        return _summary(path, _listed(path, packed))


def _write(
    records: Records, part: Path, held: Path, made_at: datetime, progress: Progress | None
) -> dict[str, Any]:
    files: dict[str, dict[str, Any]] = {}
    missing: list[str] = []
    damaged: list[str] = []
    with zipfile.ZipFile(part, "x", zipfile.ZIP_STORED) as packed:
        if records.engine.dialect.name == "sqlite":
            _copy_database(records, held / DATABASE_FILE)
            files[DATABASE_FILE] = _pack(packed, DATABASE_FILE, held / DATABASE_FILE)
            with closing(sqlite3.connect(held / DATABASE_FILE)) as copy:
                wanted = _files_named(copy, records.folder)
        else:
            with records.read() as session:
                with (held / ARCHIVE_NAME).open("xb") as file:
                    write_archive_to(file, session, records.folder)
                wanted = list(recorded_files(session, records.folder))
            files[ARCHIVE_NAME] = _pack(packed, ARCHIVE_NAME, held / ARCHIVE_NAME)
        for done, (name, place) in enumerate(wanted, start=1):
            try:
                files[name] = _pack(packed, name, place)
            except FileNotFoundError:
                missing.append(name)
            else:
                if name.startswith("photos/") and files[name]["sha256"] != place.stem:
                    damaged.append(name)
            if progress is not None:
                progress(done, len(wanted))
        listed = {
            "trayglow_backup": BACKUP_FORMAT,
            "made_at": made_at.isoformat(),
            "files": files,
            "missing": missing,
            "damaged": damaged,
        }
        packed.writestr(LIST_NAME, json.dumps(listed, indent=1), zipfile.ZIP_DEFLATED)
    return {"files": len(files), "trouble": (tuple(missing), tuple(damaged))}


def _copy_database(records: Records, place: Path) -> None:
    """One committed state of the database, while others may write."""
    raw = records.engine.raw_connection()
    try:
        source = raw.driver_connection
        assert isinstance(source, sqlite3.Connection)
        with closing(sqlite3.connect(place)) as copy:
            source.backup(copy)  # in one step, so that it needs no second start
            copy.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.Error as error:
        raise RecordsError(
            f"The records could not be copied for the backup ({error}); see what doctor says of them."
        ) from error
    finally:
        raw.close()


def _files_named(copy: sqlite3.Connection, folder: Path) -> list[tuple[str, Path]]:
    """The files that the copied rows name; read from the copy, which stands still."""
    photos = copy.execute("SELECT sha256, suffix FROM photo ORDER BY id").fetchall()
    models = [name for (name,) in copy.execute("SELECT name FROM own_model ORDER BY id")]
    return list(named_files(folder, photos, models))


def _pack(packed: zipfile.ZipFile, name: str, place: Path) -> dict[str, Any]:
    digest, size = hashlib.sha256(), 0
    with place.open("rb") as source, packed.open(name, "w", force_zip64=True) as target:
        while chunk := source.read(_CHUNK):
            digest.update(chunk)
            size += len(chunk)
            target.write(chunk)
    return {"size": size, "sha256": digest.hexdigest()}


def _opened(path: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(path)
    except OSError as error:
        raise RecordsError(f"The backup {path} could not be read ({error.strerror or error}).") from error
    except (zipfile.BadZipFile, ValueError, NotImplementedError) as error:
        raise refusal(path, "it is damaged, cut off, or no backup") from error


def _listed(path: Path, packed: zipfile.ZipFile) -> dict[str, Any]:
    """The backup's own list, every field of it checked."""
    try:
        if packed.getinfo(LIST_NAME).file_size > _LONGEST_LIST:
            raise ValueError("too long")
        listed = json.loads(packed.read(LIST_NAME))
        version = listed["trayglow_backup"]
        if version == BACKUP_FORMAT:
            datetime.fromisoformat(listed["made_at"])
            for name, file in listed["files"].items():
                size, sha256 = file["size"], file["sha256"]
                if type(size) is not int or type(sha256) is not str or not _is_name(name):
                    raise ValueError(name)
            for name in (*listed["missing"], *listed["damaged"]):
                if not _is_name(name):
                    raise ValueError(name)
    except (KeyError, TypeError, AttributeError, OSError, RecursionError, *_BROKEN) as error:
        raise refusal(path, "it is damaged, or no backup of Trayglow's") from error
    if version != BACKUP_FORMAT:
        raise refusal(path, "it was made by a newer version of Trayglow; install that to restore it")
    inside = [info.filename for info in packed.infolist()]
    if sorted(inside) != sorted([*listed["files"], LIST_NAME]):
        raise refusal(path, "it holds other files than its list says")
    if len({DATABASE_FILE, ARCHIVE_NAME} & listed["files"].keys()) != 1:
        raise refusal(path, "it holds no records")
    return listed  # type: ignore[no-any-return]


def _unpack(path: Path, place: Path, progress: Progress | None) -> dict[str, Any]:
    with _opened(path) as packed:
        listed = _listed(path, packed)
        for done, (name, file) in enumerate(listed["files"].items(), start=1):
            target = place / name
            target.parent.mkdir(parents=True, exist_ok=True)
            try:
                with packed.open(name) as source, target.open("xb") as out:
                    sha256 = _copied(source, out, file["size"])
            except _BROKEN as error:
                raise refusal(path, f"{name} in it is damaged") from error
            if sha256 != file["sha256"] or (
                name.startswith("photos/") and sha256 != target.stem and name not in listed["damaged"]
            ):
                raise refusal(path, f"{name} in it was changed or is damaged")
            if progress is not None:
                progress(done, len(listed["files"]))
    return listed


def _copied(source: IO[bytes], out: IO[bytes], size: int) -> str:
    """Copy no more than was listed; the SHA-256."""
    digest = hashlib.sha256()
    left = size + 1  # one more, so that a longer file shows in its checksum
    while left > 0 and (chunk := source.read(min(_CHUNK, left))):
        digest.update(chunk)
        out.write(chunk)
        left -= len(chunk)
    return digest.hexdigest()


def _put_in_place(path: Path, place: Path, url: str | None) -> None:
    """See that the unpacked records are whole; bring them into the database where they shall be."""
    archive, file = place / ARCHIVE_NAME, place / DATABASE_FILE
    if file.exists():
        if problems := database_problems(file):
            raise refusal(path, f"the records in it are damaged ({problems[0].text.rstrip('.')})")
        if url is None:
            return
        with _sqlite_records(place) as staged:
            write_archive(staged, archive)
        for one in place.glob(f"{DATABASE_FILE}*"):
            one.unlink()
    with open_records(place, url=url) if url else _sqlite_records(place) as records:
        import_archive(records, archive)
    archive.unlink()


def _sqlite_records(place: Path) -> Records:
    # Named in full, so that TRAYGLOW_DATABASE does not lead elsewhere.
    return open_records(place, url=URL.create("sqlite", database=str(place / DATABASE_FILE)))


def _is_name(name: object) -> bool:
    return isinstance(name, str) and (
        name in (DATABASE_FILE, ARCHIVE_NAME) or FILE_NAME.fullmatch(name) is not None
    )


def _summary(path: Path, listed: dict[str, Any]) -> BackupSummary:
    return BackupSummary(
        path,
        datetime.fromisoformat(listed["made_at"]),
        len(listed["files"]),
        path.stat().st_size,
        tuple(listed["missing"]),
        tuple(listed["damaged"]),
    )


def refusal(path: Path, why: str) -> RecordsError:
    """That a backup was not restored."""
    return RecordsError(f"The backup {path} was not restored: {why}. Nothing was written.")
