"""A person's own model: a correction on top of the shipped heads, kept as one JSON file.

The file holds plain numbers and its card, so nothing of it can run. It names the shipped heads it
was fitted on by their checksum: on top of any others its numbers would mean nothing.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from models.heads import STATUSES, StoredHeads, softmax
from models.model_files import (
    FloatArray,
    Heads,
    ModelFileError,
    check_card,
    checked_bytes,
    open_shipped_heads,
    shipped_checksum,
)

FORMAT, VERSION = "trayglow own model", 1
HEADS_FILE = "judgement.onnx"
THEN = "choose another with “trayglow train --restore NAME” (“shipped” always works), or train again"
_LEAST_CHANCE = 1e-9  # keeps the logarithm finite


@dataclass(frozen=True)
class Correction:
    """What is added to the shipped heads' answers, from the embedding (D values) alone.

    ``logits = (log shipped probability + embedding @ status_weights + status_offset) / temperature``
    and ``day = shipped day + embedding @ day_weights + day_offset``. Shapes (D, 3), (3,), (), (D,), ().
    """

    status_weights: FloatArray
    status_offset: FloatArray
    temperature: float
    day_weights: FloatArray
    day_offset: float

    def probability(self, embeddings: NDArray[np.floating], shipped: FloatArray) -> FloatArray:
        """Probabilities (N, 3) from embeddings (N, D) and the shipped heads' probabilities (N, 3)."""
        logits = np.log(np.maximum(shipped, _LEAST_CHANCE)) + (
            np.asarray(embeddings, dtype=np.float64) @ self.status_weights + self.status_offset
        )
        return softmax(logits, temperature=self.temperature)

    def days(self, embeddings: NDArray[np.floating], shipped: FloatArray) -> FloatArray:
        """Apparent days (N,) from embeddings (N, D) and the shipped heads' days (N,)."""
        added = np.asarray(embeddings, dtype=np.float64) @ self.day_weights + self.day_offset
        return np.asarray(shipped + added, dtype=np.float64)


@dataclass(frozen=True)
class OwnHeads:
    """The shipped heads with a person's correction; used in their place."""

    shipped: StoredHeads
    correction: Correction
    card: Mapping[str, Any]

    def __call__(self, embeddings: NDArray[np.float32], *more: Any) -> tuple[FloatArray, FloatArray]:
        """Probabilities (N, 3) in the order of STATUSES, and apparent days (N,)."""
        chance, days = self.shipped(embeddings, *more)
        return self.correction.probability(embeddings, chance), self.correction.days(embeddings, days)


@dataclass(frozen=True)
class ModelInUse:
    """Which model judges: ``name`` is recorded with each reading; without a file it is the shipped one."""

    name: str
    path: Path | None = None
    sha256: str | None = None

    def heads(self) -> Heads:
        """Its heads, checked, loaded once a process.

        Raises
        ------
        ModelFileError
            Where its file must not be used.
        """
        if self.path is None or self.sha256 is None:
            return open_shipped_heads(HEADS_FILE)
        return open_own_heads(self.path, sha256=self.sha256)


def own_model_bytes(correction: Correction, *, name: str, card: Mapping[str, Any]) -> bytes:
    """The file of an own model; the same content gives the same bytes.

    Raises
    ------
    ValueError
        Where a number is not finite, or the card lacks what judging needs.
    """
    check_card(card)
    document = {
        "format": FORMAT,
        "version": VERSION,
        "name": name,
        "shipped_heads_sha256": shipped_checksum(HEADS_FILE),
        "card": dict(card),
        "status_weights": _numbers(correction.status_weights),
        "status_offset": _numbers(correction.status_offset),
        "temperature": float(correction.temperature),
        "day_weights": _numbers(correction.day_weights),
        "day_offset": float(correction.day_offset),
    }
    return json.dumps(document, sort_keys=True, allow_nan=False, separators=(",", ":")).encode("ascii")


@lru_cache(maxsize=8)
def open_own_heads(path: Path, *, sha256: str) -> OwnHeads:
    """An own model's heads, checked, loaded once a process.

    Raises
    ------
    ModelFileError
        Where the file is not the one recorded, is no own model, or was fitted on other shipped heads
        than those of this version.
    """
    data = checked_bytes(path, sha256=sha256, then=THEN)
    try:
        document = json.loads(data.decode("ascii"), parse_constant=_no_constant)
        if not isinstance(document, dict) or document.get("format") != FORMAT:
            raise ValueError("it is another kind of file")
        if document.get("version") != VERSION:
            raise ValueError("it was written by another version of Trayglow")
        card, size = document["card"], len(document["day_weights"])
        check_card(card)
        correction = Correction(
            _array(document, "status_weights", (size, len(STATUSES))),
            _array(document, "status_offset", (len(STATUSES),)),
            float(_array(document, "temperature", ())),
            _array(document, "day_weights", (size,)),
            float(_array(document, "day_offset", ())),
        )
        if not correction.temperature > 0:
            raise ValueError("its temperature is not above 0")
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise ModelFileError(f"{path} is no model that “trayglow train” wrote ({error}); {THEN}.") from error
    if document["shipped_heads_sha256"] != shipped_checksum(HEADS_FILE):
        raise ModelFileError(
            f"{path} was fitted on another version's shipped model, so its numbers mean nothing here; {THEN}."
        )
    shipped = open_shipped_heads(HEADS_FILE)
    wanted = _embedding_size(shipped)
    if size != wanted:
        raise ModelFileError(f"{path} is made for {size} values an egg, not {wanted}; {THEN}.")
    return OwnHeads(shipped, correction, card)


def _embedding_size(heads: StoredHeads) -> int:
    (one,) = [entry for entry in heads.session.get_inputs() if entry.name == "embedding"]
    return int(one.shape[1])


def _numbers(values: FloatArray) -> Any:
    """Nested lists in single precision, written as short as that allows."""
    single = np.asarray(values, dtype=np.float32)
    if not np.isfinite(single).all():
        raise ValueError("a model's numbers must be finite")
    return [_numbers(row) for row in single] if single.ndim > 1 else [float(f"{v:.7g}") for v in single]


def _array(document: Mapping[str, Any], name: str, shape: tuple[int, ...]) -> FloatArray:
    values = np.asarray(document[name])
    if values.dtype.kind not in "if" or values.shape != shape or not np.isfinite(values).all():
        raise ValueError(f"its {name} are not {shape} numbers")
    return values.astype(np.float64)


def _no_constant(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number")
