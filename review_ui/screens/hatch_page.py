"""Hatch day: the count so far, who hatched, what was found in the rest."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import streamlit as st

from incubation import records as rec
from review_ui.hatch import BREAK_OUT_CAUTION, hatch_count
from review_ui.screens import frame
from review_ui.services.hatching import record_hatch, take_back
from review_ui.services.plain_markdown import plain
from review_ui.services.pulling import found_words

_OUT_SIGNS = ("helped", "culled")
_INSIDE = tuple(found for found in rec.FOUND if found != "hatched")
_INSIDE_SIGNS = tuple(sign for sign in rec.SIGNS if sign not in _OUT_SIGNS)


def show() -> None:
    """The page."""
    st.title("Hatch day")
    store = frame.records()
    batch = frame.chosen_batch(store)
    if batch is None:
        return
    who = frame.reviewer()
    if who is None:
        return
    with store.read() as session:
        states = rec.egg_states(session, batch.id)
        counts, _ = hatch_count(session, batch)
    frame.show_notice()
    if not states:
        st.info("No egg lies in this batch yet. Fill its trays on the page “Batches”.")
        frame.link("batches", "Batches")
        frame.show_reviewer(who)
        return
    waiting = [state for state in states if state.outcome is None and not state.pulled]
    st.subheader(f"{counts['found'].get('hatched', 0)} of {counts['eggs']} eggs hatched")
    st.write(plain(_count_words(counts)))
    if waiting:
        _hatched_form(store, batch, waiting, who)
        _break_out_form(store, batch, waiting, who)
    else:
        st.info("Nothing is left to record: each egg is pulled or has its finding.")
    _take_back_form(store, batch, [state for state in states if state.outcome is not None], who)
    frame.link("results", "Results")
    frame.show_reviewer(who)


def _count_words(counts: dict[str, object]) -> str:
    """The rest of the live count as a sentence or two."""
    found, signs, left = counts["found"], counts["signs"], counts["nothing_found_yet"]
    assert isinstance(found, dict)
    assert isinstance(signs, dict)
    assert isinstance(left, list)
    parts = [f"{count} {what}" for what, count in found.items() if what != "hatched"]
    parts += [f"{count} {sign}" for sign, count in signs.items()]
    seen = f"Also {', '.join(parts)}. " if parts else ""
    return f"{seen}Nothing is recorded yet of {len(left)}."


def _cups(states: Sequence[rec.EggState], *, key: str) -> None:
    """A choice of cups for each tray."""
    trays: dict[int, list[rec.EggState]] = defaultdict(list)
    for state in states:
        trays[state.tray.id].append(state)
    for tray_id, here in trays.items():
        names = {state.egg.id: _name(state) for state in here}
        st.multiselect(
            f"Cups of tray {plain(here[0].tray.name)}",
            list(names),
            format_func=names.__getitem__,
            key=f"{key}_{tray_id}",
        )


def _name(state: rec.EggState) -> str:
    if state.outcome is None:
        return state.egg.cup
    return f"{state.egg.cup}: {found_words(state.outcome.found, state.outcome.embryo_day)}"


def _chosen(states: Sequence[rec.EggState], *, key: str) -> list[int]:
    trays = {state.tray.id: None for state in states}
    return [egg for tray in trays for egg in st.session_state.get(f"{key}_{tray}") or ()]


def _hatched_form(store: rec.Records, batch: rec.Batch, waiting: Sequence[rec.EggState], who: str) -> None:
    with st.form(f"hatched_form_{batch.id}"):
        st.subheader("Hatched")
        _cups(waiting, key="out")
        st.multiselect("With it", _OUT_SIGNS, key="out_signs")
        st.form_submit_button(
            "Record as hatched",
            type="primary",
            width="stretch",
            on_click=frame.acting(_hatched),
            args=(store, batch, waiting, who),
        )


def _break_out_form(store: rec.Records, batch: rec.Batch, waiting: Sequence[rec.EggState], who: str) -> None:
    with st.form(f"open_form_{batch.id}"):
        st.subheader("Opened after the hatch")
        st.warning(BREAK_OUT_CAUTION)
        _cups(waiting, key="open")
        st.selectbox("What was found", _INSIDE, index=None, key="open_found", placeholder="choose")
        st.number_input(
            "Embryo's day, where there was one", 0, 60, value=None, step=1, key="open_day", placeholder="open"
        )
        st.multiselect("Signs", _INSIDE_SIGNS, key="open_signs")
        st.text_input("Note", key="open_note", max_chars=300)
        st.form_submit_button(
            "Record what was found",
            width="stretch",
            on_click=frame.acting(_opened),
            args=(store, batch, waiting, who),
        )


def _take_back_form(store: rec.Records, batch: rec.Batch, recorded: Sequence[rec.EggState], who: str) -> None:
    if not recorded:
        return
    with st.expander("Take back what was recorded"), st.form(f"back_form_{batch.id}"):
        _cups(recorded, key="back")
        st.form_submit_button(
            "Take back", width="stretch", on_click=frame.acting(_back), args=(store, batch, recorded, who)
        )


def _hatched(store: rec.Records, batch: rec.Batch, states: Sequence[rec.EggState], who: str) -> str:
    said = record_hatch(
        store,
        batch,
        _chosen(states, key="out"),
        "hatched",
        who=who,
        signs=st.session_state.get("out_signs") or (),
    )
    _emptied("out")
    return said


def _opened(store: rec.Records, batch: rec.Batch, states: Sequence[rec.EggState], who: str) -> str:
    found = st.session_state.get("open_found")
    if found is None:
        raise rec.RecordsError("Choose what was found. Nothing was recorded.")
    said = record_hatch(
        store,
        batch,
        _chosen(states, key="open"),
        found,
        who=who,
        embryo_day=st.session_state.get("open_day"),
        signs=st.session_state.get("open_signs") or (),
        note=st.session_state.get("open_note") or "",
    )
    _emptied("open")
    return said


def _back(store: rec.Records, batch: rec.Batch, states: Sequence[rec.EggState], who: str) -> str:
    said = take_back(store, batch, _chosen(states, key="back"), who=who)
    _emptied("back")
    return said


def _emptied(form: str) -> None:
    """Only after it was recorded: what was typed stays where something was wrong with it."""
    for key in [str(key) for key in st.session_state if str(key).startswith(f"{form}_")]:
        del st.session_state[key]
