"""The confident clears and early deaths on one contact sheet."""

from __future__ import annotations

import streamlit as st

from incubation import records as rec
from review_ui.screens import frame
from review_ui.screens.standing import standing_now
from review_ui.services.calling import confirm_proposals, last_called, undo
from review_ui.services.model_standing import confirm_line
from review_ui.services.review_queue import confirm_sheet

_SIDE_PX = 360


def show() -> None:
    """The page."""
    st.title("Confirm")
    store = frame.records()
    batch = frame.chosen_batch(store)
    if batch is None:
        return
    who = frame.reviewer()
    if who is None:
        return
    with store.read() as session:
        states = rec.egg_states(session, batch.id)
    sheet = confirm_sheet(states)
    frame.show_notice()

    if not sheet:
        st.info("Nothing waits for confirmation.")
        frame.link("review", "Review")
        frame.link("pull", "Pull list")
        _undo_button(store, states, who)
        frame.show_reviewer(who)
        return
    st.write(
        "The model is sure of these. Look at each; take the tick off an egg that you would keep. "
        "Ticked eggs go on the pull list, each with a call of its own; the others stay for review."
    )
    st.caption(confirm_line(standing_now(store).living))
    with st.container(horizontal=True, key="contact_sheet"):
        ticked = [state for state in sheet if _egg(state)]
    with st.container(key="confirm_bar", horizontal=True):
        st.button(
            f"Confirm {len(ticked)} {'egg' if len(ticked) == 1 else 'eggs'}",
            key=f"confirm_{'_'.join(str(state.egg.id) for state in sheet)}",
            type="primary",
            disabled=not ticked,
            on_click=_confirm,
            args=(store, ticked, who),
        )
        _undo_button(store, states, who)
    frame.show_reviewer(who)


def _egg(state: rec.EggState) -> bool:
    look = state.look
    assert look is not None  # confirm_sheet() chose those that have one
    with st.container(width=168, border=False, key=f"sheet_{state.egg.id}"):
        picture = frame.look_picture(look, layers=("outline", "air cell"), side_px=_SIDE_PX)
        if picture is not None:
            st.image(picture, width=168, alt=f"Egg {state.egg.cup}")
        # No egg is called unseen: without its picture it stays for review.
        return st.checkbox(
            f"{state.egg.cup} {look.proposal.status}",
            value=picture is not None,
            disabled=picture is None,
            key=f"keep_{look.proposal.id}",
        )


@frame.acting
def _confirm(store: rec.Records, states: list[rec.EggState], who: str) -> str:
    return confirm_proposals(store, states, who=who)


def _undo_button(store: rec.Records, states: tuple[rec.EggState, ...], who: str) -> None:
    last = last_called(states, who=who)
    if last is not None and last.call is not None:
        st.button(
            f"Undo last call ({last.egg.cup})",
            key=f"undo_{last.call.id}",
            on_click=_undo,
            args=(store, last, who),
        )


@frame.acting
def _undo(store: rec.Records, state: rec.EggState, who: str) -> str:
    return undo(store, state, who=who)
