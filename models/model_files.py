"""The door through which every model comes in: known checksum, safe format, right shape, or refused.

Two kinds of file are models: ONNX, as shipped, and JSON, as ``trayglow train`` writes
(``models.own_model``). Neither can carry code. The shipped files' checksums stand in
``models/shipped/checksums.json``; those of a person's own models stand in the records. Whatever is
wrong is one sentence that names the file and says what to do.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from models.heads import StoredHeads, load_heads
from models.onnx_safety import uses_other_files

FloatArray = NDArray[np.float64]
SHIPPED = Path(__file__).resolve().parent / "shipped"
MANIFEST = "checksums.json"
MODEL_ENDINGS = (".onnx", ".npz", ".json")
LARGEST_BYTES = 20_000_000  # all that is shipped together stays under this, too
CARD_NUMBERS = ("pass_from", "confirm_from", "day_half_width")
_INSTALL_AGAIN = "install Trayglow again"


class ModelFileError(ValueError):
    """Why a model was refused: one sentence for the person."""


class Heads(Protocol):
    """What judges embeddings: the shipped heads, or a person's own on top of them."""

    @property
    def card(self) -> Mapping[str, Any]: ...

    def __call__(self, embeddings: NDArray[np.float32], *more: Any) -> tuple[FloatArray, FloatArray]: ...


def checksum(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def write_manifest(folder: Path = SHIPPED) -> Mapping[str, str]:
    """Write down the checksums of a folder's models; to be called by whatever wrote one of them.

    Raises
    ------
    ModelFileError
        Where one of them is too large, or keeps its numbers in other files.
    """
    sums = {}
    for path in sorted(folder.iterdir()):
        if path.suffix in MODEL_ENDINGS and path.name != MANIFEST:
            data = _read(path, then="make it smaller")
            if path.suffix == ".onnx":
                _check_onnx(path, data, then="write it as one file")
            sums[path.name] = hashlib.sha256(data).hexdigest()
    (folder / MANIFEST).write_text(json.dumps(sums, indent=1) + "\n", encoding="ascii")
    return sums


def shipped_checksum(name: str, *, folder: Path = SHIPPED) -> str:
    """The checksum that a shipped file must have.

    Raises
    ------
    ModelFileError
        Where the list of checksums is damaged, or does not know the file.
    """
    path = folder / MANIFEST
    try:
        sums = json.loads(path.read_text(encoding="ascii"))
        return str(sums[name])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise ModelFileError(
            f"{path} does not say which checksum {name} must have; {_INSTALL_AGAIN}."
        ) from error


def checked_bytes(path: Path, *, sha256: str, then: str = _INSTALL_AGAIN) -> bytes:
    """A file's bytes, where they are those that the checksum was taken of.

    Parameters
    ----------
    path
        Where it lies.
    sha256
        What it must be.
    then
        What the person is to do where it is not.

    Raises
    ------
    ModelFileError
        Where it is missing, too large, or other bytes.
    """
    data = _read(path, then=then)
    if hashlib.sha256(data).hexdigest() != sha256.lower():
        raise ModelFileError(
            f"{path} is not the model that was recorded: it was changed, damaged or exchanged since; {then}."
        )
    return data


@lru_cache(maxsize=8)
def open_shipped_heads(name: str = "judgement.onnx", *, folder: Path = SHIPPED) -> StoredHeads:
    """The heads that come with the program, checked, loaded once a process.

    Raises
    ------
    ModelFileError
        Where the file is not the one that was shipped.
    """
    path = folder / name
    return open_onnx_heads(path, sha256=shipped_checksum(name, folder=folder))


def open_onnx_heads(path: Path, *, sha256: str, then: str = _INSTALL_AGAIN) -> StoredHeads:
    """Heads from an ONNX file of a known checksum.

    Raises
    ------
    ModelFileError
        Where the bytes are others, or are no judgement heads with their card.
    """
    data = checked_bytes(path, sha256=sha256, then=then)
    _check_onnx(path, data, then=then)
    try:
        heads = load_heads(path)
        check_card(heads.card)
        _check_ends(heads)
    except Exception as error:  # the runtime raises a dozen kinds of its own
        raise ModelFileError(f"{path} is no model that judges eggs ({_short(error)}); {then}.") from error
    return heads


def check_card(card: Mapping[str, Any]) -> None:
    """See that a card says what judging needs.

    Raises
    ------
    ValueError
        Naming what is missing or impossible.
    """
    for name in CARD_NUMBERS:
        value = card.get(name)
        if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(value):
            raise ValueError(f"its card has no number {name}")
    for name in ("pass_from", "confirm_from"):
        if not 0 < card[name] <= 1:
            raise ValueError(f"its card's {name} does not lie between 0 and 1")


def _check_ends(heads: StoredHeads) -> None:
    inputs: Sequence[Any] = heads.session.get_inputs()
    outputs: Sequence[Any] = heads.session.get_outputs()
    if "embedding" not in [one.name for one in inputs]:
        raise ValueError("it takes no embedding")
    if not {"probability", "apparent_day"} <= {one.name for one in outputs}:
        raise ValueError("it gives no probability and apparent day")


def _check_onnx(path: Path, data: bytes, *, then: str) -> None:
    try:
        elsewhere = uses_other_files(data)
    except ValueError as error:
        raise ModelFileError(f"{path} is no whole ONNX file ({error}); {then}.") from error
    if elsewhere:
        raise ModelFileError(f"{path} keeps its numbers in other files, which are never loaded; {then}.")


def _read(path: Path, *, then: str) -> bytes:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise ModelFileError(f"{path} is larger than any model of Trayglow's; {then}.")
        return path.read_bytes()
    except OSError as error:
        raise ModelFileError(
            f"The model {path} could not be read ({error.strerror or type(error).__name__}); {then}."
        ) from error


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:160] or type(error).__name__
