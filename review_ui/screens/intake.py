"""Photos that were examined and wait for the person's yes: they live in the session, nothing is stored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from incubation import records as rec
from review_ui.candling import ExaminedFile, Matching, examine_photos, match_tray_photos, swapped, without
from review_ui.screens import frame
from review_ui.services.own_model import model_in_use
from review_ui.services.photo_intake import (
    Corner,
    cups_in_order,
    in_capture_order,
    keep_uploads,
    matched_by_cups,
    photo_grid,
    turned,
)

ACCEPTED = ["image", "heic", "heif"]  # a phone offers its camera for pictures
_KEY = "_intake"

Exchange = tuple[int, int]


@dataclass(frozen=True)
class Intake:
    """Examined photos of one tray and day, and what the person has answered about them.

    Attributes
    ----------
    whole_tray
        Whether each photo shows the tray, or one egg.
    fixed
        Photo, by its place in ``files``, to the cup chosen for it; ``None`` leaves it out.
    empty
        Cups without a photo.
    exchanged
        Pairs of eggs, by id, that were swapped.
    settled
        Eggs, by id, whose contradiction the person has answered with no.
    left_out
        Eggs, by id, whose photo is not to be stored.
    """

    folder: TemporaryDirectory[str]
    batch_id: int
    tray: rec.Tray
    day: int
    whole_tray: bool
    files: tuple[ExaminedFile, ...]
    remark: str | None = None
    fixed: dict[int, str | None] = field(default_factory=dict)
    empty: tuple[str, ...] = ()
    exchanged: tuple[Exchange, ...] = ()
    settled: frozenset[int] = frozenset()
    left_out: frozenset[int] = frozenset()

    def cups(self, eggs: Sequence[rec.Egg]) -> tuple[str | None, ...]:
        """The cup of each photo of a single egg."""
        return cups_in_order(len(self.files), [egg.cup for egg in eggs], fixed=self.fixed, without=self.empty)

    def matching(self, eggs: Sequence[rec.Egg]) -> Matching:
        """What would be stored, with the person's answers."""
        if self.whole_tray:
            matching = match_tray_photos(self.files, eggs=eggs)
        else:
            matching = matched_by_cups(self.files, eggs=eggs, cups=self.cups(eggs))
        for first, second in self.exchanged:
            ones = [match for match in matching.matches if match.egg.id == first]
            others = [match for match in matching.matches if match.egg.id == second]
            if ones and others:
                matching = swapped(matching, ones[0], others[0])
        for match in matching.matches:
            if match.egg.id in self.left_out:
                matching = without(matching, match)
        return matching


def current(batch: rec.Batch) -> Intake | None:
    """The photos that wait, if they are of this batch."""
    intake: Intake | None = st.session_state.get(_KEY)
    return intake if intake is not None and intake.batch_id == batch.id else None


def keep(intake: Intake) -> None:
    """Make these the photos that wait."""
    st.session_state[_KEY] = intake


def answer(intake: Intake, **changed: object) -> None:
    """Keep the same photos with an answer changed."""
    keep(replace(intake, **changed))  # type: ignore[arg-type]


def forget() -> None:
    """Throw the waiting photos away; nothing of them was stored."""
    intake: Intake | None = st.session_state.pop(_KEY, None)
    if intake is not None:
        intake.folder.cleanup()


def examine(
    uploads: Sequence[UploadedFile],
    *,
    batch: rec.Batch,
    tray: rec.Tray,
    day: int,
    whole_tray: bool,
    corner: Corner = "top left",
) -> Intake:
    """Examine uploaded photos with a bar that names each one as it is done."""
    folder = TemporaryDirectory(prefix="trayglow-")
    paths, names = keep_uploads(Path(folder.name), [(one.name, one.getvalue()) for one in uploads])
    bar = st.progress(0.0, text=f"Examining {len(paths)} {'photo' if len(paths) == 1 else 'photos'} ...")

    def told(done: int, total: int, name: str) -> None:
        bar.progress(done / total, text=f"{done} of {total}: {name}")

    files = examine_photos(
        paths,
        day=day,
        species=batch.species,
        names=names,
        view="end" if whole_tray else "auto",
        tray=photo_grid(tray.rows, tray.columns, corner) if whole_tray else None,
        progress=told,
        model=model_in_use(frame.records()),
    )
    bar.empty()
    remark = None
    if whole_tray:
        files = tuple(turned(file, rows=tray.rows, columns=tray.columns, corner=corner) for file in files)
    else:
        files, remark = in_capture_order(files)
    return Intake(folder, batch.id, tray, day, whole_tray, files, remark)
