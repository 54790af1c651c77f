"""The doubtful eggs one by one, each with its picture and the buttons for the final word."""

from __future__ import annotations

import time

import streamlit as st

from incubation import records as rec
from review_ui.screens import frame
from review_ui.screens.egg_history import ask_swapped, both_pictures, days_in_words
from review_ui.screens.egg_panel import LOOK_LAYERS, calls_so_far, earlier_days, proposal_words
from review_ui.services.calling import SHORTEST_LOOK_S, last_called, make_call, undo
from review_ui.services.egg_picture import EGG_LAYERS
from review_ui.services.review_queue import next_egg, review_queue
from review_ui.services.swaps import swap_question

# The letters C and R belong to Streamlit itself, so digits; the same everywhere.
CALLS = (
    ("developing", "1"),
    ("clear", "2"),
    ("early death", "3"),
    ("late death", "4"),
    ("damaged", "5"),
    ("cannot tell", "6"),
)


def show() -> None:
    """The page."""
    st.title("Review")
    store = frame.records()
    batch = frame.chosen_batch(store)
    if batch is None:
        return
    who = frame.reviewer()
    if who is None:
        return
    with store.read() as session:
        states = rec.egg_states(session, batch.id)
    queue = review_queue(states)
    state = _now(states, queue)

    if state is None:
        frame.show_notice()
        st.info("Nothing waits for review.")
        _undo_button(store, states, who)
        frame.link("pull", "Pull list")
        frame.link("photos", "Add photos")
        frame.show_reviewer(who)
        return
    _egg(store, batch, state, queue, states, who)
    _ahead(queue, state)


def _now(states: tuple[rec.EggState, ...], queue: tuple[rec.EggState, ...]) -> rec.EggState | None:
    wanted = st.session_state.get("_wanted")
    asked = next((one for one in states if one.egg.id == wanted and one.look and not one.pulled), None)
    return asked or next_egg(queue, skipped=st.session_state.get("_skipped", ()))


def _egg(
    store: rec.Records,
    batch: rec.Batch,
    state: rec.EggState,
    queue: tuple[rec.EggState, ...],
    states: tuple[rec.EggState, ...],
    who: str,
) -> None:
    look = state.look
    assert look is not None  # _now() chose one that has a look
    with st.container(key="call_notice"):
        frame.show_notice(otherwise="Look first, then call it.")
    blind = bool(st.session_state.get("blind", False))
    if not blind:
        st.session_state.setdefault("_seen", set()).add(look.proposal.id)
    shown = look.proposal.id in st.session_state.get("_seen", set())

    with store.read() as session:
        history = rec.history_of(session, state.egg.id)
        question = swap_question(session, history, look)
    several = len(history.looks) > 1
    picture_side, word_side, *earlier_side = st.columns([5, 4, 2] if several else [5, 4], gap="medium")
    with picture_side:
        st.html(
            f'<span class="cup">{state.egg.cup}</span> &nbsp; {state.tray.name}, day {look.reading.day:g}, '
            f"{len(queue)} waiting"
        )
        layers = tuple(
            st.session_state.get(f"layers_{state.egg.id}", st.session_state.get("_layers", LOOK_LAYERS))
        )
        picture = None if question else frame.look_picture(look, layers=layers, side_px=1000)
        if question is not None:
            both_pictures(question, layers=layers)
            ask_swapped(store, question, who, with_proposals=not blind)
        elif picture is not None:
            with st.container(key="egg_picture"):
                st.image(picture, width="stretch", alt=f"Egg {state.egg.cup} on day {look.reading.day:g}")
    with word_side:
        _call_buttons(store, state, who, shown=shown)
        with st.container(horizontal=True):
            st.button(
                "Skip",
                key=f"skip_{state.egg.id}",
                shortcut="S",
                on_click=_skip,
                args=(state.egg.id,),
                width="stretch",
            )
            _undo_button(store, states, who)
        if blind:
            st.write("The proposal is hidden until you have called.")
        else:
            proposal_words(look, species=batch.species)
        days_in_words(history, with_proposals=not blind)
        calls_so_far(history)
        st.toggle("Hide the proposal until I have called", key="blind", persist_state="session")
        chosen = st.pills(
            "Lines shown",
            EGG_LAYERS,
            selection_mode="multi",
            default=[layer for layer in EGG_LAYERS if layer in layers],
            key=f"layers_{state.egg.id}",
            wrap=True,
        )
        st.session_state["_layers"] = tuple(chosen)
        st.text_input("Note to keep with the call", key=f"note_{state.egg.id}", max_chars=300)
        frame.show_reviewer(who)
    for side in earlier_side:
        with side:
            earlier_days(history, look, with_proposals=not blind)
    _first_seen(state.egg.id)


def _call_buttons(store: rec.Records, state: rec.EggState, who: str, *, shown: bool) -> None:
    with st.container(key="call_buttons"):
        left, right = st.columns(2, gap="small", wrap=False)
        for number, (status, shortcut) in enumerate(CALLS):
            (left if number % 2 == 0 else right).button(
                status.capitalize(),
                # With the egg's id in it, a late second tap means nothing for the next egg.
                key=f"call_{status.replace(' ', '_')}_{state.egg.id}",
                shortcut=shortcut,
                on_click=_call,
                args=(store, state, status, who, shown),
                width="stretch",
            )


@frame.acting
def _call(store: rec.Records, state: rec.EggState, status: str, who: str, shown: bool) -> str:
    egg_id, since = st.session_state.get("_first_seen", (None, 0.0))
    if egg_id == state.egg.id and time.monotonic() - since < SHORTEST_LOOK_S:
        return f"Not recorded: {state.egg.cup} had only just appeared. Call it again."
    said = make_call(
        store,
        state,
        status,
        who=who,
        proposal_shown=shown,
        note=st.session_state.get(f"note_{state.egg.id}", ""),
    )
    if st.session_state.get("_wanted") == state.egg.id:
        del st.session_state["_wanted"]
    return said


def _first_seen(egg_id: int) -> None:
    """Remember when this egg came onto the screen."""
    if st.session_state.get("_first_seen", (None, 0.0))[0] != egg_id:
        st.session_state["_first_seen"] = (egg_id, time.monotonic())


def _skip(egg_id: int) -> None:
    put_off = [one for one in st.session_state.get("_skipped", ()) if one != egg_id]
    st.session_state["_skipped"] = (*put_off, egg_id)
    if st.session_state.get("_wanted") == egg_id:
        del st.session_state["_wanted"]


def _undo_button(store: rec.Records, states: tuple[rec.EggState, ...], who: str) -> None:
    last = last_called(states, who=who)
    label = "Undo last call" if last is None else f"Undo last call ({last.egg.cup})"
    st.button(
        label,
        key="undo" if last is None or last.call is None else f"undo_{last.call.id}",
        shortcut="U",
        disabled=last is None,
        on_click=_undo,
        args=(store, last, who),
        width="stretch",
    )


@frame.acting
def _undo(store: rec.Records, state: rec.EggState, who: str) -> str:
    said = undo(store, state, who=who)
    st.session_state["_wanted"] = state.egg.id  # what was undone is looked at again
    st.session_state.pop("_first_seen", None)
    return said


def _ahead(queue: tuple[rec.EggState, ...], state: rec.EggState) -> None:
    """Draw the next egg's picture while the person looks at this one."""
    skipped = (*st.session_state.get("_skipped", ()), state.egg.id)
    after = next_egg([one for one in queue if one.egg.id != state.egg.id], skipped=skipped)
    if after is not None and after.look is not None:
        frame.look_picture(after.look, layers=st.session_state.get("_layers", LOOK_LAYERS), side_px=1000)
