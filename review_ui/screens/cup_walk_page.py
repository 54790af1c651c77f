"""The cup walk: the next occupied cup is named, and its egg photographed, skipped or taken again."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from incubation import records as rec
from review_ui.candling import Matching, contradictions, egg_called, store_matching
from review_ui.picture_remarks import advice
from review_ui.screens import frame, intake
from review_ui.screens.add_photos_page import choose_day
from review_ui.screens.warmth import show_clock
from review_ui.services.cup_walk import Walk, walk
from review_ui.services.photo_intake import matched_by_cups


def show() -> None:
    """The page."""
    st.title("Cup walk")
    store = frame.records()
    batch = frame.chosen_batch(store)
    if batch is None:
        return
    with store.read() as session:
        trays = rec.trays_of(session, batch.id)
    tray = frame.chosen_tray(trays, key=f"walk_tray_{batch.id}")
    if tray is None:
        return
    day = choose_day(batch, key="walk_day")
    with store.read() as session:
        eggs = rec.eggs_of(session, tray_id=tray.id, pulled=False)
        photographed = rec.looks_on(session, batch.id, day)
    show_clock()
    frame.show_notice()
    if not eggs:
        st.info("No eggs in this tray yet. Put them in on the page “Batches”.")
        return
    skipped_key = f"_walk_skipped_{tray.id}_{day}"
    now = walk(
        eggs,
        photographed=photographed,
        skipped=st.session_state.get(skipped_key, ()),
        retake=st.session_state.get("_retake"),
    )
    st.progress(now.done / now.total, text=f"{now.done} of {now.total} eggs photographed on day {day}")

    if (asked := st.session_state.get("_walk_asked")) is not None:
        _ask(store, asked, eggs, day)
        return
    if now.current is None:
        st.info("Every occupied cup was photographed or skipped.")
    else:
        _cup(store, batch, tray, now.current, day, skipped_key)
    _last_photo(eggs, photographed, now)
    _other_cups(eggs, now, skipped_key)
    frame.link("review", "Review")


def _cup(
    store: rec.Records, batch: rec.Batch, tray: rec.Tray, egg: rec.Egg, day: int, skipped_key: str
) -> None:
    mark = f" &nbsp; mark {egg.mark}" if egg.mark else ""
    st.html(f'<span class="cup" id="next-cup">{egg.cup}</span>{mark}')
    upload = st.file_uploader(
        f"Photo of {egg.cup}",
        type=intake.ACCEPTED,
        key=f"walk_upload_{egg.id}_{st.session_state.get('_walk_round', 0)}",
    )
    if upload is not None:
        examined = intake.examine([upload], batch=batch, tray=tray, day=day, whole_tray=False)
        _take(store, replace(examined, fixed={0: egg.cup}), egg)
        st.session_state["_walk_round"] = st.session_state.get("_walk_round", 0) + 1
        st.rerun()
    st.button(f"Skip {egg.cup}", key=f"walk_skip_{egg.id}", on_click=_skip, args=(skipped_key, egg.id))


def _take(store: rec.Records, taken: intake.Intake, egg: rec.Egg) -> None:
    """Store the photo of the cup, or keep it for the question that comes first."""
    matching = matched_by_cups(taken.files, eggs=[egg], cups=[egg.cup])
    if not matching.matches:
        frame.notice(" ".join([*(one.error for one in matching.unread), *matching.problems]), error=True)
        taken.folder.cleanup()
        return
    with store.read() as session:
        questions = contradictions(session, matching, day=taken.day)
    if questions:
        st.session_state["_walk_asked"] = (taken, egg, questions[0].sentence)
        return
    _store(store, taken, matching, egg)


@frame.acting
def _store(store: rec.Records, taken: intake.Intake, matching: Matching, egg: rec.Egg) -> str:
    stored = store_matching(store, matching, day=taken.day)
    taken.folder.cleanup()
    st.session_state.pop("_walk_asked", None)
    st.session_state["_walk_last"] = egg.id
    if st.session_state.get("_retake") is not None:
        del st.session_state["_retake"]
    problems = [p for look in stored.looks for p in look.reading.measured["quality"]["problems"]]
    words = f"Stored: {egg.cup}."
    if problems:
        words += f" But the picture is {' and '.join(problems)}: take it again if you can. "
        words += f"What helps: {advice(problems)}."
    return " ".join([words, *stored.problems])


def _ask(
    store: rec.Records, asked: tuple[intake.Intake, rec.Egg, str], eggs: tuple[rec.Egg, ...], day: int
) -> None:
    """Whether two eggs were swapped, before the photo is stored."""
    taken, egg, sentence = asked
    with st.container(border=True, key="walk_question"):
        st.warning(sentence)
        cups = {one.id: one.cup for one in eggs if one.id != egg.id}
        if cups:
            other_id = st.selectbox(
                "It is the egg of cup", list(cups), format_func=cups.__getitem__, key="walk_other"
            )
            other = next(one for one in eggs if one.id == other_id)
            st.button(
                f"Yes, store it as {other.cup}",
                key="walk_yes",
                on_click=_store_as,
                args=(store, taken, other),
            )
        st.button(f"No, it is {egg.cup}", key="walk_no", on_click=_store_as, args=(store, taken, egg))
        st.button(f"Take {egg.cup} again", key="walk_again", on_click=_drop, args=(taken,))


def _store_as(store: rec.Records, taken: intake.Intake, egg: rec.Egg) -> None:
    _store(store, taken, matched_by_cups(taken.files, eggs=[egg], cups=[egg.cup]), egg)


def _drop(taken: intake.Intake) -> None:
    taken.folder.cleanup()
    st.session_state.pop("_walk_asked", None)


def _skip(key: str, egg_id: int) -> None:
    st.session_state[key] = (*st.session_state.get(key, ()), egg_id)
    st.session_state.pop("_retake", None)


def _last_photo(eggs: tuple[rec.Egg, ...], photographed: dict[int, rec.Look], now: Walk) -> None:
    """The photo stored last, to see whether it is to be taken again."""
    last = next((egg for egg in eggs if egg.id == st.session_state.get("_walk_last")), None)
    look = None if last is None else photographed.get(last.id)
    if last is None or look is None or (now.current is not None and last.id == now.current.id):
        return
    with st.container(horizontal=True, vertical_alignment="center", key="walk_last"):
        picture = frame.look_picture(look, layers=("outline", "air cell"), side_px=360)
        if picture is not None:
            st.image(picture, width=120, alt=f"Photo of {last.cup}")
        st.button(f"Retake {last.cup}", key=f"walk_retake_{last.id}", on_click=_go_to, args=(last.id,))


def _other_cups(eggs: tuple[rec.Egg, ...], now: Walk, skipped_key: str) -> None:
    if now.skipped:
        st.write(f"Skipped: {', '.join(egg.cup for egg in now.skipped)}")
        st.button(
            "Go back to the skipped",
            key="walk_unskip",
            on_click=st.session_state.pop,
            args=(skipped_key, None),
        )
    with st.form("walk_other_egg", clear_on_submit=True):
        word = st.text_input("Another egg: its cup, or the mark on its shell", key="walk_word", max_chars=40)
        submitted = st.form_submit_button("Go to it")
    if submitted and word.strip():
        egg = egg_called(eggs, word)
        if egg is None:
            st.error(f"No egg in this tray is in a cup, or has a mark, {word.strip()!r}.")
        else:
            _go_to(egg.id)
            st.rerun()


def _go_to(egg_id: int) -> None:
    st.session_state["_retake"] = egg_id
