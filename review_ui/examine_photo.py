"""Examines one photo: opened, read, judged, its masks and overlay written.

This is the work of one process of the pool, so whatever goes wrong becomes a sentence in the
result and never an exception.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Protocol

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from models.model_files import ModelFileError
from models.own_model import ModelInUse
from models.proposal import Judgement
from review_ui.examine_json import photo_record
from review_ui.output_files import replaced_file, why
from vision.network_files import NetworkFileError
from vision.overlay import draw_overlay
from vision.photo import Photo, PhotoError, open_photo, printable
from vision.reading import PhotoReading, Reading


class Reader(Protocol):
    """What reads a photo: ``vision.read_photo.read_photo``."""

    def __call__(self, photo: Photo, *, view: str, tray: tuple[int, int] | None) -> PhotoReading: ...


class Judge(Protocol):
    """What judges its eggs: ``models.judge.judge_photo``."""

    def __call__(
        self, photo: Photo, reading: PhotoReading, *, day: float, species: str
    ) -> tuple[Judgement, ...]: ...


@dataclass(frozen=True)
class PhotoTask:
    """One photo to examine, and how.

    Attributes
    ----------
    photo
        The photo's name for the person, as it was given.
    path
        Where it lies.
    day
        Day of incubation on which it was taken.
    species
        A key of ``incubation.species.SPECIES``.
    view
        ``auto``, ``side`` or ``end``.
    tray
        Rows and columns of the tray in the photo, or ``None``.
    output_name
        What the names of this photo's masks and overlay begin with.
    masks_folder, overlay_folder
        Where to write them; ``None`` for not at all.
    model
        Which model judges; ``None`` for the shipped one.
    egg_size_mm
        Mean length and breadth of the eggs in the photo, or ``None``.
    card_below_mm
        How far below the eggs' widest place a tray card in the photo lies.
    """

    photo: str
    path: str
    day: float
    species: str
    view: str = "auto"
    tray: tuple[int, int] | None = None
    output_name: str = ""
    masks_folder: str | None = None
    overlay_folder: str | None = None
    model: ModelInUse | None = None
    egg_size_mm: tuple[float, float] | None = None
    card_below_mm: float = 0.0


@dataclass(frozen=True)
class ExaminedPhoto:
    """One photo's readings and judgements.

    Attributes
    ----------
    reading
        What was measured, without the masks (they are large), or why nothing was.
    judgements
        One for each of ``reading.eggs``.
    record
        Both as an entry of the JSON's ``photos``.
    unwritten
        Why masks or overlay could not be written; ``None`` where they were, or weren't asked for.
    model
        The name of the model that judged, where it was named in the task.
    """

    reading: PhotoReading
    judgements: tuple[Judgement, ...]
    record: dict[str, Any]
    unwritten: str | None = None
    model: str | None = None


def examine_photo(
    task: PhotoTask, *, reader: Reader | None = None, judge: Judge | None = None
) -> ExaminedPhoto:
    """Open, read and judge one photo, and write its masks and overlay where asked.

    Parameters
    ----------
    task
        The photo and how to examine it.
    reader, judge
        Other functions than Trayglow's own.
    """
    name = printable(task.photo)
    try:
        photo = open_photo(task.path)
    except PhotoError as error:
        # A copy of the photo may lie elsewhere; the person knows it by its own name.
        return failed(task, str(error).replace(printable(task.path), name))
    try:
        read, judgement_of = reader or _own_reader(task), judge or _own_judge(task.model)
        reading = replace(read(photo, view=task.view, tray=task.tray), photo=task.photo)
        if reading.error is not None:
            return _without_eggs(replace(reading, error=f"{name}: {reading.error}"))
        judgements = judgement_of(photo, reading, day=task.day, species=task.species)
        record = photo_record(reading, judgements)
    except ModelFileError as error:
        return failed(task, f"{name} could not be judged: {error}", photo)
    except NetworkFileError as error:
        return failed(task, f"{name} could not be read: {error}", photo)
    except MemoryError:
        return failed(task, f"{name} needs more memory than is free; save it smaller and try again.", photo)
    except Exception as error:  # noqa: BLE001 (the one place between any fault and the other photos)
        text = " ".join(f"{type(error).__name__}: {error}".split())[:300]
        return failed(
            task,
            f"{name} could not be read because of a fault in the program ({text}); please report it.",
            photo,
        )
    unwritten = _write_pictures(task, photo, reading)
    bare = replace(reading, eggs=tuple(replace(egg, masks=None) for egg in reading.eggs))
    return ExaminedPhoto(bare, judgements, record, unwritten, task.model.name if task.model else None)


def failed(task: PhotoTask, error: str, photo: Photo | None = None) -> ExaminedPhoto:
    """The result for a photo that could not be read, with whatever is known of it."""
    return _without_eggs(
        PhotoReading(
            photo=task.photo,
            sha256=photo.sha256 if photo else None,
            width_px=photo.width_px if photo else None,
            height_px=photo.height_px if photo else None,
            taken_at=photo.taken_at if photo else None,
            view=None,
            error=error,
        )
    )


def _without_eggs(reading: PhotoReading) -> ExaminedPhoto:
    bare = replace(reading, eggs=(), empty_cups=(), unseen_cups=())
    return ExaminedPhoto(bare, (), photo_record(bare, ()))


def _own_reader(task: PhotoTask) -> Reader:
    from vision.read_photo import read_photo

    return partial(read_photo, egg_size_mm=task.egg_size_mm, card_below_mm=task.card_below_mm)


def _own_judge(model: ModelInUse | None) -> Judge:
    from models.judge import judge_photo

    return judge_photo if model is None else partial(judge_photo, heads=model.heads())


def prepare_worker() -> None:
    """Make a process of the pool ready: one thread, and quiet.

    The models are loaded with the process's first photo and kept for the others; so what is wrong
    with them is that photo's error, not the end of the process.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the main process decides when to stop
    with suppress(OSError):
        # Picture libraries print warnings of their own past Python; failures reach the person
        # through the results.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    cv2.setNumThreads(1)


def _write_pictures(task: PhotoTask, photo: Photo, reading: PhotoReading) -> str | None:
    try:
        if task.masks_folder is not None:
            for number, egg in enumerate(reading.eggs, start=1):
                _write_masks(Path(task.masks_folder), f"{task.output_name}_egg{number}", egg, photo)
        if task.overlay_folder is not None:
            picture = Image.fromarray(draw_overlay(photo.rgb, reading))
            path = Path(task.overlay_folder, f"{task.output_name}_overlay.jpg")
            _save(path, lambda file: picture.save(file, "JPEG", quality=90))
    except OSError as error:
        return f"The pictures of {printable(task.photo)} could not all be written ({why(error)})."
    return None


def _write_masks(folder: Path, stem: str, egg: Reading, photo: Photo) -> None:
    if egg.masks is None:
        return
    for name, mask in (("veins", egg.masks.veins), ("air_cell", egg.masks.air_cell)):
        picture = Image.fromarray(
            full_size(mask, egg.masks.corner_px, (photo.height_px, photo.width_px)).view(np.uint8) * 255
        )
        _save(folder / f"{stem}_{name}.png", lambda file, p=picture: p.save(file, "PNG", compress_level=1))


def full_size(
    window: NDArray[np.bool_], corner_px: tuple[int, int], shape: tuple[int, int]
) -> NDArray[np.bool_]:
    """A window's mask laid into a mask of the photo's shape (rows, columns).

    Parts of the window beyond the photo are dropped.
    """
    whole = np.zeros(shape, dtype=bool)
    left, top = corner_px
    rows = slice(max(top, 0), max(top + window.shape[0], 0))
    columns = slice(max(left, 0), max(left + window.shape[1], 0))
    room = whole[rows, columns]
    from_row, from_column = max(-top, 0), max(-left, 0)
    room[...] = window[from_row : from_row + room.shape[0], from_column : from_column + room.shape[1]]
    return whole


def _save(path: Path, write: Callable[..., None]) -> None:
    with replaced_file(path) as file:
        write(file)
