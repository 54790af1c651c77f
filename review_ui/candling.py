"""Examines the photos of a batch's day and stores what was read.

First the photos are examined, then matched to eggs (``candling_match``), then a person says yes,
and only then anything is stored.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from incubation.records import (
    Batch,
    KeptFile,
    Look,
    Records,
    RecordsError,
    add_reading,
    day_of,
    looks_of_photo,
    store_photo,
)
from incubation.records.own_models import MODEL_FOLDER
from models.own_looks import CACHE_NAME, keep_embeddings
from models.own_model import ModelInUse
from review_ui.candling_history import (
    Contradiction,
    OperatingPoints,
    contradictions,
    in_the_light_of,
    past_of,
)
from review_ui.candling_match import (
    ExaminedFile,
    Match,
    Matching,
    Unread,
    egg_called,
    match_cups,
    match_in_order,
    match_tray_photos,
    swapped,
    without,
)
from review_ui.errors import UsageError
from review_ui.examine_photo import PhotoTask, examine_photo
from review_ui.examine_pool import Work, examine_here, processor_count
from vision.photo import PhotoError, open_photo, printable

__all__ = [
    "Contradiction",
    "ExaminedFile",
    "Match",
    "Matching",
    "Stored",
    "Unread",
    "clock_remarks",
    "contradictions",
    "day_taken",
    "egg_called",
    "examine_photos",
    "match_cups",
    "match_in_order",
    "match_tray_photos",
    "operating_points",
    "stored_before",
    "store_matching",
    "swapped",
    "tray_remarks",
    "with_earlier_days",
    "without",
]

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Stored:
    """What was stored: all looks, how many of them are new, and what was left out."""

    looks: tuple[Look, ...]
    added: int
    unchanged: int
    problems: tuple[str, ...] = ()


def examine_photos(
    photos: Sequence[Path],
    *,
    day: float,
    species: str,
    names: Sequence[str] | None = None,
    view: str = "auto",
    tray: tuple[int, int] | None = None,
    processes: int | None = None,
    progress: Progress | None = None,
    model: ModelInUse | None = None,
    egg_size_mm: tuple[float, float] | None = None,
    card_below_mm: float = 0.0,
    work: Work = examine_photo,
) -> tuple[ExaminedFile, ...]:
    """Examine photos; nothing is stored, and no photo stops the others.

    Parameters
    ----------
    photos
        Where they lie.
    day, species
        Day of incubation and kind of egg.
    names
        What the person calls each; by default the path.
    view
        ``auto``, ``side`` or ``end``.
    tray
        Rows and columns of the tray on the photos.
    processes
        How many photos at once; by default one for each processor.
    progress
        Told after each photo how many are done, of how many, and that photo's name.
    model
        Which model judges; by default the shipped one.
    egg_size_mm
        Mean length and breadth of the eggs, if measured.
    card_below_mm
        How far below the eggs' widest place a tray card lies.
    work
        What examines one photo.
    """
    names = list(names) if names is not None else [str(photo) for photo in photos]
    tasks = [
        PhotoTask(
            photo=name,
            path=str(photo),
            day=day,
            species=species,
            view=view,
            tray=tray,
            model=model,
            egg_size_mm=egg_size_mm,
            card_below_mm=card_below_mm,
        )
        for name, photo in zip(names, photos, strict=True)
    ]
    done: dict[int, ExaminedFile] = {}
    for number, examined in examine_here(work, tasks, processes=processes or processor_count()):
        done[number] = ExaminedFile(Path(photos[number]), names[number], examined)
        if progress is not None:
            progress(len(done), len(tasks), names[number])
    return tuple(done[number] for number in range(len(tasks)))


def day_taken(batch: Batch, photos: Sequence[Path], now: datetime) -> int:
    """Day of incubation of the first photo that says when it was taken; of this moment if none does.

    Parameters
    ----------
    batch
        The batch.
    photos
        Where the photos lie; one that cannot be opened is passed over.
    now
        This moment.

    Raises
    ------
    RecordsError
        Where that lies before setting.
    """
    for photo in photos:
        try:
            at = open_photo(photo).taken_at
        except PhotoError:
            continue
        if at is not None:
            return day_of(batch, at)
    return day_of(batch, now)


def clock_remarks(batch: Batch, files: Sequence[ExaminedFile], *, day: float) -> tuple[str, ...]:
    """Sentences about photos that the camera's clock puts on another day than the one given."""
    others: dict[int | None, list[str]] = {}
    for file in files:
        at = file.examined.reading.taken_at
        if at is None:
            continue
        try:
            taken: int | None = day_of(batch, at)
        except RecordsError:
            taken = None
        if taken is None or abs(taken - int(day)) > 1:
            others.setdefault(taken, []).append(printable(file.name))
    return tuple(
        f"By the camera's clock {', '.join(names[:3])}{' and others' if len(names) > 3 else ''} "
        + (f"is of day {taken}" if taken is not None else "is from before the eggs were set")
        + f", not of day {day:g}: check the day."
        for taken, names in others.items()
    )


def tray_remarks(files: Sequence[ExaminedFile]) -> tuple[str, ...]:
    """What could not be told for sure about the trays on the photos, each with its photo."""
    return tuple(
        f"{printable(file.name)}: {doubt}"
        for file in files
        if file.examined.reading.error is None
        for doubt in file.examined.reading.tray_doubts
    )


def stored_before(session: Session, matching: Matching, *, day: float) -> tuple[str, ...]:
    """Sentences about photos that are stored for another egg; storing the matching moves them."""
    return tuple(
        f"{printable(match.file.name)} is stored for another egg; it would be moved to {match.egg.cup}."
        for match in matching.matches
        if (earlier := _same_photo(session, match, day)) is not None
        and earlier.reading.egg_id != match.egg.id
    )


def store_matching(records: Records, matching: Matching, *, day: float, model: str | None = None) -> Stored:
    """Store the photos and, in one transaction, all readings and proposals.

    The proposal that is stored takes the egg's earlier days into account; the picture's own stands
    beside it. One that the earlier days contradict is stored to be reviewed, saying so. A photo
    that changed since it was examined, or cannot be kept, is left out and named.

    Parameters
    ----------
    records
        Where to store them.
    matching
        What a person has said yes to.
    day
        Day of incubation.
    model
        The model's name; by default that of the one that judged each photo.

    Raises
    ------
    RecordsError
        Where the records cannot be written; no reading is stored then.
    """
    kept, problems = _keep_files(records, matching)
    points = operating_points(records)
    looks, added = [], 0
    seen: list[tuple[Look, NDArray[np.float32] | None]] = []
    with records.write() as session:
        entries = with_earlier_days(session, matching, day=day, points=points)
        for match, measured in zip(matching.matches, entries, strict=True):
            file = kept.get(match.sha256)
            if file is None:
                continue
            about = match.file.examined.record
            photo = store_photo(
                session,
                file,
                name=Path(match.file.name).name,
                width_px=about["width_px"],
                height_px=about["height_px"],
                taken_at=about["taken_at"],
            )
            view = about["view"]
            earlier = _same_photo(session, match, day)
            look = add_reading(
                session,
                egg_id=match.egg.id,
                photo_id=photo.id,
                day=day,
                view=view,
                model=model or match.file.examined.model or _shipped_model(),
                measured=measured,
                number=match.number,
                replaces_id=earlier.reading.id
                if earlier is not None and earlier.reading.egg_id != match.egg.id
                else None,
            )
            added += earlier is None or look.reading.id != earlier.reading.id
            looks.append(look)
            seen.append((look, _seen(match)))
    keep_embeddings(
        [(look, embedding) for look, embedding in seen if embedding is not None],
        file=records.folder / MODEL_FOLDER / CACHE_NAME,
    )
    return Stored(tuple(looks), added, len(looks) - added, tuple(problems))


def _seen(match: Match) -> NDArray[np.float32] | None:
    """What the judge saw of a match's egg, where it was judged here."""
    judged = match.file.examined.judgements
    return judged[match.number - 1].embedding if match.number <= len(judged) else None


def with_earlier_days(
    session: Session, matching: Matching, *, day: float, points: Callable[[], OperatingPoints]
) -> tuple[dict[str, Any], ...]:
    """Each match's entry, in order, with the proposal that the egg's earlier days make of it.

    As it is stored; ``points`` as for :func:`review_ui.candling_history.in_the_light_of`.
    """
    swapped_with = {
        id(one.match): one.swap_with.egg.cup
        for one in contradictions(session, matching, day=day)
        if one.swap_with is not None
    }
    return tuple(
        in_the_light_of(
            match.record,
            past_of(session, match.egg.id, batch_id=match.egg.batch_id),
            day=day,
            view=match.file.examined.record["view"],
            points=points,
            perhaps_cup=swapped_with.get(id(match)),
        )
        for match in matching.matches
    )


def operating_points(records: Records) -> Callable[[], OperatingPoints]:
    """Gives the operating points of the model in use, read from its card when first asked for."""

    @cache
    def points() -> OperatingPoints:
        from models.judge import shipped_heads
        from review_ui.services.own_model import model_in_use

        card = dict(shipped_heads().card)
        with suppress(UsageError):  # its file may have been lost since the photos were judged
            card |= model_in_use(records).heads().card
        return OperatingPoints(float(card["pass_from"]), float(card["confirm_from"]))

    return points


def _keep_files(records: Records, matching: Matching) -> tuple[dict[str, KeptFile], list[str]]:
    """Files by hash, put in their places before the transaction, which is thus short."""
    kept: dict[str, KeptFile] = {}
    problems = []
    for sha256, file in {match.sha256: match.file for match in matching.matches}.items():
        name = printable(file.name)
        try:
            one = records.keep_photo(file.path, name=file.name)
        except RecordsError as error:
            problems.append(str(error))
            continue
        if one.sha256 != sha256:
            problems.append(
                f"{name} was changed after it was examined, so it was left out; examine it again."
            )
            continue
        kept[one.sha256] = one
    return kept, problems


def _same_photo(session: Session, match: Match, day: float) -> Look | None:
    """The look in force that was stored from the same egg of the same photo on the same day."""
    for look in looks_of_photo(session, match.sha256):
        if look.reading.number == match.number and look.reading.day == float(day):
            return look
    return None


def _shipped_model() -> str:
    from models.judge import MODEL_NAME

    return MODEL_NAME
