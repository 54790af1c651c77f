"""Writes results so that a file is either wholly there or not touched at all."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from review_ui.errors import UsageError
from vision.photo import printable


@contextmanager
def replaced_file(path: Path) -> Iterator[BinaryIO]:
    """A file to write to that takes the name ``path`` once all is written.

    It is written beside its final place. Where anything fails, an older file of that name stays
    as it was. A link keeps pointing where it did, and a device or pipe is written to directly.

    Raises
    ------
    OSError
        Where the file cannot be written.
    """
    target = Path(os.path.realpath(path))
    if target.exists() and not target.is_file() and not target.is_dir():
        with target.open("wb") as device:
            yield device
        return
    if target.is_dir():
        raise IsADirectoryError(f"{target} is a folder")
    part = target.with_name(f".{uuid.uuid4().hex}.part")
    try:
        with part.open("xb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def write_file(path: Path, content: bytes, *, option: str = "") -> None:
    """Write a file, wholly or not at all.

    Raises
    ------
    UsageError
        Where it cannot be written, naming the option if one is given.
    """
    try:
        with replaced_file(path) as file:
            file.write(content)
    except OSError as error:
        named = f"{option}: " if option else ""
        raise UsageError(f"{named}{printable(path)} could not be written ({why(error)}).") from error


def check_folder(folder: Path, option: str) -> None:
    """Make the folder where it is missing and see that files can be made in it.

    Raises
    ------
    UsageError
        Where that cannot be, naming the option and the folder.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _try_to_write(folder)
    except OSError as error:
        raise UsageError(
            f"{option}: nothing can be written to the folder {printable(folder)} ({why(error)}); "
            "name another one."
        ) from error


def check_file(path: Path, option: str) -> None:
    """See that a file of this name can be made or replaced.

    Raises
    ------
    UsageError
        Where it cannot, naming the option and the file.
    """
    name = printable(path)
    if path.is_dir():
        raise UsageError(f"{option}: {name} is a folder; name a file in it.")
    if not path.parent.is_dir():
        raise UsageError(f"{option}: there is no folder {printable(path.parent)}; make it first.")
    try:
        if not path.exists() or path.is_file():
            _try_to_write(Path(os.path.realpath(path)).parent)
    except OSError as error:
        raise UsageError(f"{option}: {name} cannot be written ({why(error)}); name another file.") from error


def why(error: OSError) -> str:
    """The system's own words for an error, without its number."""
    return error.strerror or str(error) or type(error).__name__


def _try_to_write(folder: Path) -> None:
    trial = folder / f".{uuid.uuid4().hex}.part"
    try:
        trial.touch(exist_ok=False)
    finally:
        trial.unlink(missing_ok=True)
