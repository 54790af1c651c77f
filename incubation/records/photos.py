"""Photos: the file kept once under the hash of its content, and what is known of it."""

from __future__ import annotations

import hashlib
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import Row, add_row, checked_text
from incubation.records.errors import RecordsError
from incubation.records.photo_files import KeptFile, keep_file, known_suffix, photo_path, read_source
from incubation.records.rows import Photo

_MANY = 500  # more than this are not named one by one in a query


def store_photo(
    session: Session,
    source: bytes | Path | KeptFile,
    *,
    name: str,
    width_px: int | None = None,
    height_px: int | None = None,
    taken_at: str | None = None,
) -> Photo:
    """Keep a photo; one that is kept already, by content, is not kept again.

    The file is on the disk before its row is written, so a row always has its file.

    Parameters
    ----------
    session
        A session that writes.
    source
        The file's bytes, where it lies, or what :meth:`incubation.records.Records.keep_photo` gave.
    name
        What the person calls it.
    width_px, height_px
        Of the upright photo.
    taken_at
        The camera's clock, ISO 8601.

    Raises
    ------
    RecordsError
        Where the file cannot be read or kept.
    """
    folder = _folder(session)
    kept = source if isinstance(source, KeptFile) else keep_photo_file(folder, session, source, name)
    row = _by_hash(session, kept.sha256)
    if row is not None:
        return _photo(row, folder)
    key = add_row(
        session,
        tables.photo,
        sha256=kept.sha256,
        name=checked_text("".join(c if c.isprintable() else "?" for c in name)[-200:], "photo's name"),
        suffix=kept.suffix,
        size_bytes=kept.size_bytes,
        width_px=width_px,
        height_px=height_px,
        taken_at=taken_at,
    )
    return photo_by_id(session, key)


def keep_photo_file(folder: Path, session: Session, source: bytes | Path, name: str) -> KeptFile:
    """Keep a photo's file, under the ending it has already where it is known."""
    data = read_source(source)
    sha256 = hashlib.sha256(data).hexdigest()
    row = _by_hash(session, sha256)
    return keep_file(folder, data, row["suffix"] if row else known_suffix(name), sha256=sha256)


def photo_by_id(session: Session, photo_id: int) -> Photo:
    """The photo of this id.

    Raises
    ------
    RecordsError
        Where there is none.
    """
    row = session.execute(select(tables.photo).where(tables.photo.c.id == photo_id)).mappings().one_or_none()
    if row is None:
        raise RecordsError(f"The records hold no photo with the number {photo_id}.")
    return _photo(row, _folder(session))


def photos_of(session: Session, photo_ids: set[int]) -> dict[int, Photo]:
    """Photos by id."""
    folder = _folder(session)
    query = select(tables.photo)
    if len(photo_ids) <= _MANY:
        query = query.where(tables.photo.c.id.in_(photo_ids))
    rows = session.execute(query).mappings()
    return {row["id"]: _photo(row, folder) for row in rows if row["id"] in photo_ids}


def _by_hash(session: Session, sha256: str) -> Row | None:
    return (
        session.execute(select(tables.photo).where(tables.photo.c.sha256 == sha256)).mappings().one_or_none()
    )


def _folder(session: Session) -> Path:
    folder: Path = session.info["photo_folder"]
    return folder


def _photo(row: Row, folder: Path) -> Photo:
    return Photo(
        path=photo_path(folder, row["sha256"], row["suffix"]),
        **{
            name: row[name]
            for name in ("id", "sha256", "name", "width_px", "height_px", "taken_at", "recorded_at")
        },
    )
