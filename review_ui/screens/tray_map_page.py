"""The trays of a batch from above."""

from __future__ import annotations

import streamlit as st

from incubation import records as rec
from review_ui.screens import frame
from review_ui.services.batch_summary import cup_marks, doubt_of, status_of, summary_of, summary_words
from review_ui.services.tray_map import DOUBT_WORDS, legend_html, tray_svg


def show() -> None:
    """The page."""
    st.title("Tray map")
    frame.show_notice()
    store = frame.records()
    batch = frame.chosen_batch(store)
    if batch is None:
        return
    with store.read() as session:
        trays = rec.trays_of(session, batch.id)
        states = rec.egg_states(session, batch.id)

    summary = summary_of(states)
    st.write(f"{batch.name}: {summary_words(summary)}.")
    tray = frame.chosen_tray(trays, key=f"map_tray_{batch.id}")
    if tray is None:
        return
    here = [state for state in states if state.tray.id == tray.id]
    if not here:
        st.info("No eggs in this tray yet. Put them in on the page “Batches”.")
        frame.link("batches", "Go to Batches")
        return
    with st.container(horizontal=True):
        if summary.not_candled or not (summary.review or summary.confirm or summary.to_pull):
            frame.link("photos", "Add photos")
        if summary.review:
            frame.link("review", f"Review {summary.review}")
        if summary.confirm:
            frame.link("confirm", f"Confirm {summary.confirm}")
        if summary.to_pull:
            frame.link("pull", f"Pull {summary.to_pull}")
    svg = tray_svg(cup_marks(here), rows=tray.rows, columns=tray.columns, title=f"Tray {tray.name}")
    st.markdown(f'<div class="tray-scroll">{svg}</div>', unsafe_allow_html=True)
    with st.expander("What the marks mean"):
        st.markdown(legend_html(), unsafe_allow_html=True)
    _one_cup(here)


def _one_cup(states: list[rec.EggState]) -> None:
    """Any egg may be looked at, also one that nobody needs to."""
    words = {
        state.egg.id: f"{state.egg.cup}: {status_of(state)}, {DOUBT_WORDS[doubt_of(state)]}"
        for state in states
        if state.look is not None and not state.pulled
    }
    if not words:
        return
    with st.container(horizontal=True, vertical_alignment="bottom"):
        egg_id = st.selectbox("Cup", list(words), format_func=words.__getitem__, key="map_cup", width=380)
        if st.button("Look closer", key="look_closer"):
            st.session_state["_wanted"] = egg_id
            frame.go("review")
