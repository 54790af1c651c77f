"""The files of photos: each kept once under the hash of its content, whole or not at all."""

from __future__ import annotations

import hashlib
import os
import uuid
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from incubation.records.errors import RecordsError

_SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif")
_ANY_SUFFIX = ".img"


@dataclass(frozen=True)
class KeptFile:
    """A photo's file: hash, ending and size in bytes."""

    sha256: str
    suffix: str
    size_bytes: int


def photo_path(folder: Path, sha256: str, suffix: str) -> Path:
    """Where a photo is kept below the folder of photos."""
    return folder / sha256[:2] / f"{sha256}{suffix}"


def known_suffix(name: str) -> str:
    """The ending of a picture's name in small letters; ``.img`` where it has none of a picture."""
    suffix = Path(name).suffix.lower()
    return suffix if suffix in _SUFFIXES else _ANY_SUFFIX


def kept_suffixes() -> tuple[str, ...]:
    """Every ending under which a photo may be kept."""
    return (*_SUFFIXES, _ANY_SUFFIX)


def read_source(source: bytes | Path) -> bytes:
    """All bytes of a photo.

    Raises
    ------
    RecordsError
        Where the file cannot be read, or is empty.
    """
    if isinstance(source, Path):
        try:
            data = source.read_bytes()
        except OSError as error:
            raise RecordsError(f"{source} could not be read ({_why(error)}), so it was not kept.") from error
    else:
        data = source
    if not data:
        raise RecordsError(f"{source if isinstance(source, Path) else 'The photo'} is empty: take it again.")
    return data


def keep_file(folder: Path, data: bytes, suffix: str, *, sha256: str | None = None) -> KeptFile:
    """Write a photo under its hash, unless it is there already.

    Parameters
    ----------
    folder
        The folder of photos.
    data
        The file's bytes.
    suffix
        The ending to keep it under.
    sha256
        Its hash where known.

    Raises
    ------
    RecordsError
        Where it cannot be written; no part of it is left then.
    """
    sha256 = sha256 or hashlib.sha256(data).hexdigest()
    path = photo_path(folder, sha256, suffix)
    try:
        if not (path.is_file() and path.stat().st_size == len(data)):
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, data)
    except OSError as error:
        raise RecordsError(
            f"The photo could not be kept in {folder} ({_why(error)}); make room there or allow writing, "
            "and try again."
        ) from error
    return KeptFile(sha256, suffix, len(data))


def check_photo_folder(place: Path, folder: Path) -> None:
    """Make the folders where they are missing and see that files can be made in them.

    Raises
    ------
    RecordsError
        Where that cannot be.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for one in (place, folder):
            trial = one / f".{uuid.uuid4().hex}.part"
            try:
                trial.touch(exist_ok=False)
            finally:
                trial.unlink(missing_ok=True)
    except OSError as error:
        raise RecordsError(
            f"Records cannot be kept in the folder {place} ({_why(error)}); allow writing to it, or name "
            "another folder."
        ) from error


def write_whole(path: Path, data: bytes) -> None:
    """Write a file that is there whole or not at all, whatever happens; raises ``OSError``."""
    part = path.with_name(f".{uuid.uuid4().hex}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except BaseException:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise
    # A name in a folder is safe only once the folder is; some systems cannot open one.
    with suppress(OSError):
        handle = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _why(error: OSError) -> str:
    return error.strerror or str(error) or type(error).__name__
