"""Photos of a batch's day: chosen, examined, looked through, and only then stored."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from incubation import records as rec
from incubation.species import species_named
from review_ui.candling import (
    Contradiction,
    ExaminedFile,
    Matching,
    clock_remarks,
    contradictions,
    store_matching,
    stored_before,
)
from review_ui.screens import frame, intake
from review_ui.screens.warmth import show_clock
from review_ui.services.egg_picture import egg_jpeg, photo_jpeg
from review_ui.services.photo_intake import CORNERS
from vision.photo import PhotoError

_WHOLE, _SINGLE = "Whole tray in one photo", "One egg in each photo"
_IN_ORDER, _LEAVE_OUT = "", "-"  # choices for a photo beside the cups


def show() -> None:
    """The page."""
    st.title("Add photos")
    frame.show_notice()
    store = frame.records()
    batch = frame.chosen_batch(store)
    if batch is None:
        return
    waiting = intake.current(batch)
    if waiting is not None:
        with store.read() as session:
            eggs = rec.eggs_of(session, tray_id=waiting.tray.id, pulled=False)
        _look_through(store, batch, waiting, eggs)
        return
    with store.read() as session:
        trays = rec.trays_of(session, batch.id)
    tray = frame.chosen_tray(trays, key=f"photos_tray_{batch.id}")
    if tray is None:
        return
    show_clock()
    _choose(store, batch, tray)


def day_now(batch: rec.Batch) -> int:
    """The batch's day at this moment, 0 before setting."""
    now = datetime.now(UTC)
    return 0 if batch.set_at > now else rec.day_of(batch, now)


def choose_day(batch: rec.Batch, *, key: str) -> int:
    """The day of incubation that the photos are of."""
    last = species_named(batch.species).term_days + 5
    return int(
        st.number_input(
            "Day of incubation", 0, last, value=min(day_now(batch), last), key=f"{key}_{batch.id}"
        )
    )


def _choose(store: rec.Records, batch: rec.Batch, tray: rec.Tray) -> None:
    kind = st.radio("Photos show", (_WHOLE, _SINGLE), key="photos_kind", horizontal=True)
    day = choose_day(batch, key="photos_day")
    whole = kind == _WHOLE
    corner = CORNERS[0]
    if whole:
        corner = st.selectbox("Cup A1 lies in the photo at the", CORNERS, key="photos_corner")
    else:
        st.caption(
            "Take the eggs in cup order, row by row; the photos are matched by the time they were taken."
        )
    uploads = st.file_uploader(
        "Photos (a phone offers its camera here)",
        type=intake.ACCEPTED,
        accept_multiple_files=True,
        key=f"photos_upload_{st.session_state.get('_upload_round', 0)}",
    )
    label = f"Examine {len(uploads)} {'photo' if len(uploads) == 1 else 'photos'}" if uploads else "Examine"
    if st.button(label, key="examine", type="primary", disabled=not uploads):
        with store.read() as session:
            if not rec.eggs_of(session, tray_id=tray.id, pulled=False):
                st.error("There is no egg in this tray: put its eggs in first, on the page “Batches”.")
                return
        intake.keep(intake.examine(uploads, batch=batch, tray=tray, day=day, whole_tray=whole, corner=corner))
        st.session_state["_upload_round"] = st.session_state.get("_upload_round", 0) + 1
        st.rerun()


def _look_through(
    store: rec.Records, batch: rec.Batch, now: intake.Intake, eggs: tuple[rec.Egg, ...]
) -> None:
    st.subheader(f"{now.tray.name}, day {now.day}: nothing is stored yet")
    if now.whole_tray:
        st.write("Do the cups' names stand on the right eggs? If not, start over and choose another corner.")
        _tray_photos(now)
    else:
        st.write("Does each photo show the egg of its cup? Change the cup below a photo where not.")
        _contact_sheet(now, eggs)
    matching = now.matching(eggs)
    for unread in matching.unread:
        st.error(unread.error)
    with store.read() as session:
        questions = contradictions(session, matching, day=now.day)
        moved = stored_before(session, matching, day=now.day)
    for sentence in (now.remark, *matching.problems, *clock_remarks(batch, now.files, day=now.day), *moved):
        if sentence:
            st.warning(sentence)
    questions = tuple(one for one in questions if one.match.egg.id not in now.settled)
    for number, question in enumerate(questions):
        _ask_swapped(now, question, number)
    count = len(matching.matches)
    if questions:
        st.info("Answer the questions above first.")
    with st.container(horizontal=True):
        st.button(
            f"Store {count} {'egg' if count == 1 else 'eggs'}",
            key="store_photos",
            type="primary",
            disabled=not count or bool(questions),
            on_click=_store,
            args=(store, now, matching),
        )
        st.button("Start over", key="start_over", on_click=intake.forget)


def _tray_photos(now: intake.Intake) -> None:
    for file in now.files:
        if file.error is None:
            picture = photo_jpeg(file.path, reading=file.examined.reading)
            st.image(picture, caption=file.name, width="stretch")


def _contact_sheet(now: intake.Intake, eggs: tuple[rec.Egg, ...]) -> None:
    marks = {egg.cup: f"{egg.cup} (mark {egg.mark})" if egg.mark else egg.cup for egg in eggs}
    empty = st.multiselect("Cups without a photo", list(marks), default=list(now.empty), key="cups_without")
    if tuple(empty) != now.empty:
        intake.answer(now, empty=tuple(empty))
        st.rerun()
    cups = now.cups(eggs)
    words = {_IN_ORDER: "in order", _LEAVE_OUT: "leave out", **marks}
    choices = list(words)

    with st.container(horizontal=True, key="match_sheet"):
        for number, (file, cup) in enumerate(zip(now.files, cups, strict=True)):
            with st.container(width=168, key=f"photo_{number}"):
                st.html(f'<span class="cup">{cup or "left out"}</span>')
                st.image(_thumbnail(file), width=168, alt=file.name)

                fixed = now.fixed.get(number, _IN_ORDER)
                chosen = st.selectbox(
                    file.name,
                    choices,
                    index=choices.index(_LEAVE_OUT if fixed is None else fixed),
                    format_func=words.__getitem__,
                    key=f"cup_of_{number}",
                )
                if chosen != (_LEAVE_OUT if fixed is None else fixed):
                    left = {place: one for place, one in now.fixed.items() if place != number}
                    if chosen:
                        left[number] = None if chosen == _LEAVE_OUT else chosen
                    intake.answer(now, fixed=left)
                    st.rerun()


def _thumbnail(file: ExaminedFile) -> bytes | str:
    """The egg, the whole photo where none was found, or a blank where that cannot be opened."""
    record = file.examined.record
    try:
        if record["eggs"]:
            return egg_jpeg(
                file.path, record["eggs"][0], view=record["view"], layers=("outline",), side_px=360
            )
        return photo_jpeg(file.path, side_px=360)
    except PhotoError:
        return (
            '<svg xmlns="http://www.w3.org/2000/svg" width="168" height="168"><rect width="168" height="168" '
            'fill="#211c17"/><text x="84" y="90" fill="#ece2d3" font-size="19" text-anchor="middle">'
            "not read</text></svg>"
        )


def _ask_swapped(now: intake.Intake, question: Contradiction, number: int) -> None:
    egg = question.match.egg
    with st.container(border=True, key=f"swap_{number}"):
        st.warning(question.sentence)
        with st.container(horizontal=True):
            if question.swap_with is not None:
                other = question.swap_with.egg
                st.button(
                    f"Yes, {egg.cup} and {other.cup} were swapped",
                    key=f"swap_yes_{egg.id}",
                    on_click=_answer,
                    args=(now,),
                    kwargs={"exchanged": (*now.exchanged, (egg.id, other.id))},
                )
            st.button(
                "No, it is as photographed",
                key=f"swap_no_{egg.id}",
                on_click=_answer,
                args=(now,),
                kwargs={"settled": now.settled | {egg.id}},
            )
            st.button(
                f"Leave {egg.cup} out",
                key=f"swap_out_{egg.id}",
                on_click=_answer,
                args=(now,),
                kwargs={"left_out": now.left_out | {egg.id}},
            )


def _answer(now: intake.Intake, **changed: object) -> None:
    intake.answer(now, **changed)


@frame.acting
def _store(store: rec.Records, now: intake.Intake, matching: Matching) -> str:
    stored = store_matching(store, matching, day=now.day)
    if now.whole_tray and now.exchanged:
        _move_exchanged(store, now)
    intake.forget()
    count = len(stored.looks)
    said = f"Stored: {count} {'egg' if count == 1 else 'eggs'} of day {now.day}."
    if stored.unchanged:
        said += f" {stored.unchanged} of them were stored before."
    return " ".join([said, *stored.problems])


def _move_exchanged(store: rec.Records, now: intake.Intake) -> None:
    """Eggs that lie in each other's cups are recorded where they lie."""
    with store.write() as session:
        for first, second in now.exchanged:
            one, other = rec.egg_by_id(session, first), rec.egg_by_id(session, second)
            rec.move_eggs(session, {one.id: (other.tray_id, other.cup), other.id: (one.tray_id, one.cup)})
