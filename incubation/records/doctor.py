"""Looks whether records, photos and models are whole and agree, and mends what can be mended without loss.

Nothing that is recorded and no whole photo is ever removed: a damaged file is set aside beside its
place, and only pieces of files that were never finished are deleted.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import time
import zipfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import URL, select

from incubation.records import tables
from incubation.records.archive import recorded_files
from incubation.records.backup import backup_content
from incubation.records.database import (
    DATABASE_FILE,
    DATABASE_VARIABLE,
    PHOTO_FOLDER,
    Records,
    open_records,
)
from incubation.records.database_checks import database_problems, mend_database
from incubation.records.errors import RecordsError
from incubation.records.own_models import MODEL_FOLDER, model_path
from incubation.records.photo_files import write_whole
from incubation.records.row_checks import row_problems

_OLD_PIECE_SECONDS = 3600.0  # a younger piece may be of a photo that is being kept just now
_ASIDE = ".damaged"
_CHUNK = 2**20
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class DoctorFinding:
    """One thing that was found.

    ``kind`` is ``database``, ``rows``, ``photo``, ``model``, ``piece`` (of a file that was never
    finished) or ``stray`` (a file that no row names; it does no harm). ``can_mend`` says whether
    it can be mended without loss, ``mended`` whether that was done.
    """

    kind: str
    text: str
    can_mend: bool = False
    mended: bool = False

    @property
    def matters(self) -> bool:
        """Whether it is more than a stray file or piece, and still there."""
        return self.kind not in ("piece", "stray") and not self.mended


@dataclass(frozen=True)
class DoctorReport:
    """All that was found, and how much was looked at."""

    findings: tuple[DoctorFinding, ...]
    photos: int
    rows: int

    @property
    def healthy(self) -> bool:
        """Whether nothing that matters is left."""
        return not any(finding.matters for finding in self.findings)


def examine_records(
    folder: Path,
    *,
    url: str | None = None,
    mend: bool = False,
    backup: Path | None = None,
    progress: Progress | None = None,
) -> DoctorReport:
    """Check a data folder and its database from end to end.

    Every photo is read and compared with its hash, which takes as long as reading them all.

    Parameters
    ----------
    folder
        The data folder.
    url
        Another database than the folder's; by default what ``TRAYGLOW_DATABASE`` names.
    mend
        Also mend what loses nothing: indexes and guards of the database are made anew, missing and
        damaged photos and models are taken from another whole copy, unfinished pieces deleted.
    backup
        A backup from which missing and damaged files may be taken.
    progress
        Called with the photos looked at and how many there are.

    Raises
    ------
    RecordsError
        Where the folder is not there, or the backup named is none.
    """
    if not folder.is_dir():
        raise RecordsError(f"There is no folder {folder}; name the one that the records are in.")
    if backup is not None:
        backup_content(backup)
    url = url or os.environ.get(DATABASE_VARIABLE) or None
    findings: list[DoctorFinding] = []
    if url is None:
        file = folder / DATABASE_FILE
        if not file.is_file():
            nothing = DoctorFinding("database", f"There is no {DATABASE_FILE} in {folder}.")
            return DoctorReport((nothing,), 0, 0)
        findings += _database(file, mend)
        if any(finding.matters and not finding.can_mend for finding in findings):
            advice = DoctorFinding(
                "database",
                "Keep the folder as it is, and restore the newest backup into another folder with: trayglow "
                "restore BACKUP",
            )
            return DoctorReport((*findings, advice), 0, 0)
    where = url or URL.create("sqlite", database=str(folder / DATABASE_FILE))
    try:
        with open_records(folder, url=where) as opened:
            photos, rows = _content(opened, findings, mend=mend, backup=backup, progress=progress)
    except RecordsError as error:
        return DoctorReport((*findings, DoctorFinding("database", str(error))), 0, 0)
    return DoctorReport(tuple(findings), photos, rows)


def _database(file: Path, mend: bool) -> list[DoctorFinding]:
    problems = database_problems(file)
    if not mend or not any(problem.remedy for problem in problems):
        return [DoctorFinding("database", one.text, bool(one.remedy)) for one in problems]
    for remedy in dict.fromkeys(one.remedy for one in problems if one.remedy):
        # One that fails shows in what is left.
        with suppress(sqlite3.Error):
            mend_database(file, remedy)
    left = {one.text for one in database_problems(file)}
    return [DoctorFinding("database", one.text, bool(one.remedy), one.text not in left) for one in problems]


def _content(
    records: Records,
    findings: list[DoctorFinding],
    *,
    mend: bool,
    backup: Path | None,
    progress: Progress | None,
) -> tuple[int, int]:
    folder = records.folder
    with records.read() as session:
        findings += [DoctorFinding("rows", problem) for problem in row_problems(session)]
        wanted = dict(recorded_files(session, folder))
        own = tables.own_model
        sums = {
            model_path(folder, row["name"]).relative_to(folder).as_posix(): row["sha256"]
            for row in session.execute(select(own.c.name, own.c.sha256)).mappings()
        }
        rows = sum(len(session.scalars(select(table.c.id)).all()) for table in tables.metadata.sorted_tables)
    sums |= {name: place.stem for name, place in wanted.items() if name.startswith("photos/")}
    strays = _strays(folder, set(wanted.values()))
    copies: dict[str, Path] | None = None
    for done, (name, place) in enumerate(wanted.items(), start=1):
        there = file_sha256(place)
        if there != sums[name]:
            if copies is None:
                copies = _copies(folder, strays)
            findings.append(_mend_file(name, place, sums[name], there, copies, backup, mend))
        if progress is not None:
            progress(done, len(wanted))
    for stray in strays:
        if stray.is_file():
            findings.append(_stray(folder, stray, mend))
    return sum(name.startswith("photos/") for name in wanted), rows


def _mend_file(
    name: str,
    place: Path,
    sha256: str,
    there: str | None,
    copies: dict[str, Path],
    backup: Path | None,
    mend: bool,
) -> DoctorFinding:
    kind = "photo" if name.startswith("photos/") else "model"
    state = "missing" if there is None else "damaged: its content is not what was kept"
    what = f"The {kind} {name} is {state}"
    data = _copy_of(sha256, name, copies, backup)
    if data is None:
        return DoctorFinding(kind, f"{what}; no whole copy of it was found.")
    if not mend:
        return DoctorFinding(kind, f"{what}; a whole copy of it was found.", can_mend=True)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        if there is not None:
            place.replace(_free_name(place))
        write_whole(place, data)
    except OSError as error:
        return DoctorFinding(kind, f"{what}, and could not be mended ({error.strerror or error}).", True)
    return DoctorFinding(kind, f"{what}; it was mended from a whole copy.", can_mend=True, mended=True)


def _copy_of(sha256: str, name: str, copies: dict[str, Path], backup: Path | None) -> bytes | None:
    """The content with this hash, from a file that lies about or from the backup."""
    data = b""
    if sha256 in copies:
        with suppress(OSError):
            data = copies[sha256].read_bytes()
    elif backup is not None:
        with suppress(OSError, KeyError, zipfile.BadZipFile), zipfile.ZipFile(backup) as packed:
            data = packed.read(name)
    return data if hashlib.sha256(data).hexdigest() == sha256 else None


def _stray(folder: Path, path: Path, mend: bool) -> DoctorFinding:
    name = path.relative_to(folder).as_posix()
    if path.name.startswith(".") and path.suffix == ".part":
        old = False
        with suppress(OSError):
            old = time.time() - path.stat().st_mtime > _OLD_PIECE_SECONDS
        if not old:
            return DoctorFinding("piece", f"{name} is a piece of a file that may be being written just now.")
        if mend:
            with suppress(OSError):
                path.unlink()
        text = f"{name} is a piece of a file that was never finished."
        return DoctorFinding("piece", text, True, not path.exists())
    if _ASIDE in path.name:
        return DoctorFinding("stray", f"{name} is a damaged file that was set aside.")
    return DoctorFinding("stray", f"{name} is named by no row; it does no harm and is left where it is.")


def _strays(folder: Path, wanted: set[Path]) -> list[Path]:
    """Files among the photos and models that no row names."""
    found = [path for path in sorted((folder / PHOTO_FOLDER).rglob("*")) if path.is_file()]
    models = folder / MODEL_FOLDER
    # Anything else there is made anew where it is missing.
    found += [
        path for path in sorted(models.glob("*")) if path.suffix in (".json", ".part") or _ASIDE in path.name
    ]
    found += sorted(folder.glob(".*.part"))
    return [path for path in found if path not in wanted]


def _copies(folder: Path, strays: list[Path]) -> dict[str, Path]:
    """The files that no row names, by the hash of their content."""
    return {sha256: path for path in strays if (sha256 := file_sha256(path)) is not None}


def file_sha256(path: Path) -> str | None:
    """The SHA-256 of a file; ``None`` where it cannot be read."""
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while chunk := file.read(_CHUNK):
                digest.update(chunk)
    except OSError:
        return None
    return digest.hexdigest()


def _free_name(place: Path) -> Path:
    number = 1
    while (aside := place.with_name(f"{place.name}{_ASIDE}-{number}")).exists():
        number += 1
    return aside
