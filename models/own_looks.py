"""The embeddings of stored looks, made once and kept.

Candling keeps them as it stores its readings (:func:`keep_embeddings`); what is lacking, as for eggs
candled on another station, is cut from the stored photo by the outline in the reading. All lie in one
file beside the records; it can be thrown away at any time and is made again. A file that is damaged,
or from another backbone, is passed over.
"""

from __future__ import annotations

import hashlib
import json
import uuid
import zipfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor, as_completed
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from incubation.egg_geometry import EggProfile
from incubation.records import Look
from models.backbone import EMBEDDING_SIZE, embed
from models.egg_crop import egg_crop
from models.model_files import shipped_checksum
from vision.photo import PhotoError, open_photo
from vision.reading import Outline

CACHE_NAME = "looks.npz"
_ANY_PROFILE = EggProfile(57.0, 42.0, 1.0, 33.0)  # a reading from the side has one; only that is asked

Vectors = dict[str, NDArray[np.float32]]
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class PhotoLooks:
    """The looks to be cut from one photo: each its key, outline (as in the results) and view."""

    path: str
    looks: tuple[tuple[str, Mapping[str, Any], str | None], ...]


@cache
def backbone_used() -> str:
    """Which backbone the embeddings come from."""
    return shipped_checksum("backbone.onnx")[:16]


def key_of(look: Look) -> str:
    """A look's name in the file: what photo, what outline, which backbone."""
    outline = json.dumps(look.reading.measured["outline"], sort_keys=True)
    text = f"{look.photo.sha256} {look.reading.view} {outline} {backbone_used()}"
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def look_embeddings(
    looks: Sequence[Look], *, file: Path, pool: Executor | None = None, progress: Progress | None = None
) -> tuple[dict[int, NDArray[np.float32]], tuple[str, ...]]:
    """Embeddings of looks by the number of their reading, and sentences about photos that could not be used.

    Parameters
    ----------
    looks
        The looks.
    file
        Where they are kept; made, or renewed, where something was lacking.
    pool
        Where photos are opened side by side; in this process by default.
    progress
        Told how many photos are done, of how many.

    Returns
    -------
    A look of a photo that could not be used is left out.
    """
    known = _load(file)
    todo: dict[str, list[tuple[str, Mapping[str, Any], str | None]]] = {}
    keys = {look.reading.id: key_of(look) for look in looks}
    for look in looks:
        if (key := keys[look.reading.id]) not in known:
            outline = look.reading.measured["outline"]
            todo.setdefault(str(look.photo.path), []).append((key, outline, look.reading.view))
    problems = []
    tasks = [PhotoLooks(path, tuple(rows)) for path, rows in todo.items()]
    for done, (made, problem) in enumerate(_made(tasks, pool), start=1):
        known |= made
        problems += [problem] if problem else []
        if progress is not None:
            progress(done, len(tasks))
    if tasks:
        _save(file, known)
    found = {reading_id: known[key] for reading_id, key in keys.items() if key in known}
    return found, tuple(sorted(problems))


def keep_embeddings(found: Sequence[tuple[Look, NDArray[np.float32]]], *, file: Path) -> None:
    """Keep what the judge saw in looks just stored, so that training need not open their photos again."""
    if not found:
        return
    known = _load(file)
    fresh = {key_of(look): _halved(embedding) for look, embedding in found}
    if not fresh.keys() <= known.keys():
        _save(file, known | fresh)


def embeddings_of_photo(task: PhotoLooks) -> tuple[Vectors, str | None]:
    """Embeddings of one photo's looks, or why there are none; importable by name for other processes."""
    try:
        photo = open_photo(task.path)
    except PhotoError as error:
        return {}, str(error)
    crops = [egg_crop(photo.rgb, _outline(outline, view)) for _, outline, view in task.looks]
    rows = _halved(embed(crops))
    return {key: row for (key, _, _), row in zip(task.looks, rows, strict=True)}, None


def _made(tasks: Sequence[PhotoLooks], pool: Executor | None) -> Iterable[tuple[Vectors, str | None]]:
    if pool is None:
        return map(embeddings_of_photo, tasks)
    return (one.result() for one in as_completed([pool.submit(embeddings_of_photo, task) for task in tasks]))


def _outline(outline: Mapping[str, Any], view: str | None) -> Outline:
    x, y = outline["centre_px"]
    return Outline(
        centre_px=(float(x), float(y)),
        length_px=float(outline["length_px"]),
        breadth_px=float(outline["breadth_px"]),
        axis_deg=None if outline["axis_deg"] is None else float(outline["axis_deg"]),
        long_axis_deg=float(outline["long_axis_deg"]),
        polygon_px=np.asarray(outline["polygon_px"], dtype=float),
        profile=None if view == "end" else _ANY_PROFILE,
    )


def _halved(embedding: NDArray[np.float32]) -> NDArray[np.float32]:
    """As it comes back from the file, which keeps half floats."""
    return np.asarray(embedding).astype(np.float16).astype(np.float32)


def _load(file: Path) -> Vectors:
    try:
        with file.open("rb") as opened, np.load(opened, allow_pickle=False) as kept:
            keys, rows = kept["keys"], kept["rows"].astype(np.float32)
            if str(kept["backbone"]) != backbone_used() or rows.shape != (len(keys), EMBEDDING_SIZE):
                return {}
            return {str(key): row for key, row in zip(keys, rows, strict=True)}
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return {}


def _save(file: Path, known: Vectors) -> None:
    """Where it cannot be written it is made again next time: nothing is lost but time."""
    part = file.with_name(f".{uuid.uuid4().hex}.part")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with part.open("xb") as out:
            np.savez(
                out,
                keys=np.array(list(known)),
                rows=np.stack(list(known.values())).astype(np.float16)
                if known
                else np.empty((0, EMBEDDING_SIZE), np.float16),
                backbone=np.array(backbone_used()),
            )
        part.replace(file)
    except OSError:
        with suppress(OSError):
            part.unlink(missing_ok=True)
