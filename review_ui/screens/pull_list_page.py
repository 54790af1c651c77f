"""Which eggs go out, in cup order, and what was inside when they were opened."""

from __future__ import annotations

import streamlit as st

from incubation import records as rec
from incubation.species import species_named
from review_ui.screens import frame
from review_ui.services.pulling import (
    FOUND_AT_A_TAP,
    PULL_CAUTION,
    found_words,
    pull,
    put_back,
    record_found,
    staged,
)


def show() -> None:
    """The page."""
    st.title("Pull list")
    store = frame.records()
    batch = frame.chosen_batch(store)
    if batch is None:
        return
    who = frame.reviewer()
    if who is None:
        return
    with store.read() as session:
        items = rec.pull_list(session, batch.id, include_pulled=True)
    stages = staged(items)
    frame.show_notice()

    if not items:
        st.info("Nothing to pull. Eggs come here once a person has called them clear, dead or damaged.")
        frame.link("review", "Review")
        frame.show_reviewer(who)
        return
    st.warning(PULL_CAUTION)
    if stages.to_pull:
        st.subheader(f"To pull: {len(stages.to_pull)}")
        for item in stages.to_pull:
            _to_pull(store, item, who)
    if stages.to_open:
        st.subheader(f"Pulled; what was inside? {len(stages.to_open)}")
        for item in stages.to_open:
            _to_open(store, item, who, last_day=species_named(batch.species).term_days + 5)
    if stages.done:
        st.subheader(f"Done: {len(stages.done)}")
        for item in stages.done:
            _done(store, item, who)
    frame.show_reviewer(who)


def _heading(item: rec.PullItem) -> str:
    state = item.state
    called = "" if state.call is None else f"{state.call.status}, called by {state.call.who}"
    mark = f", mark {state.egg.mark}" if state.egg.mark else ""
    return f"{state.tray.name}{mark}: {called}"


def _to_pull(store: rec.Records, item: rec.PullItem, who: str) -> None:
    egg = item.state.egg
    with st.container(border=True, key=f"to_pull_{egg.id}"):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(f'<span class="cup">{egg.cup}</span>', width="content")
            st.text(_heading(item), width="stretch")
            st.button(
                f"Pulled {egg.cup}",
                key=f"pulled_{egg.id}",
                type="primary",
                on_click=_pull,
                args=(store, egg, who),
            )
        if item.caution:
            st.warning(item.caution)


def _to_open(store: rec.Records, item: rec.PullItem, who: str, *, last_day: int) -> None:
    egg, look = item.state.egg, item.state.look
    with st.container(border=True, key=f"to_open_{egg.id}"):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(f'<span class="cup">{egg.cup}</span>', width="content")
            st.text(_heading(item), width="stretch")
            st.button(
                f"Put {egg.cup} back", key=f"put_back_{egg.id}", on_click=_put_back, args=(store, egg, who)
            )
        with st.container(horizontal=True, vertical_alignment="bottom"):
            for found in FOUND_AT_A_TAP:
                st.button(
                    found.capitalize(),
                    key=f"found_{found.replace(' ', '_')}_{egg.id}",
                    on_click=_found,
                    args=(store, egg, found, who, None),
                )
            guess = look.proposal.apparent_day.day if look and look.proposal.apparent_day else 7.0
            day = st.number_input(
                "About day",
                min_value=1,
                max_value=last_day,
                value=min(max(round(guess), 1), last_day),
                key=f"embryo_day_{egg.id}",
                width=170,
            )
            st.button(
                f"Embryo of about day {day}",
                key=f"found_embryo_{egg.id}",
                on_click=_found,
                args=(store, egg, "embryo", who, float(day)),
            )


def _done(store: rec.Records, item: rec.PullItem, who: str) -> None:
    egg, outcome = item.state.egg, item.state.outcome
    assert outcome is not None  # staged() put those with an outcome here
    with st.container(horizontal=True, vertical_alignment="center", key=f"done_{egg.id}"):
        st.html(f'<span class="cup">{egg.cup}</span>', width="content")
        st.text(f"{found_words(outcome.found, outcome.embryo_day)} ({_heading(item)})", width="stretch")
        st.button(
            f"Change {egg.cup}",
            key=f"change_{outcome.id}",
            on_click=_found,
            args=(store, egg, None, who, None),
        )


@frame.acting
def _pull(store: rec.Records, egg: rec.Egg, who: str) -> str:
    return pull(store, egg, who=who)


@frame.acting
def _put_back(store: rec.Records, egg: rec.Egg, who: str) -> str:
    return put_back(store, egg, who=who)


@frame.acting
def _found(store: rec.Records, egg: rec.Egg, found: str | None, who: str, embryo_day: float | None) -> str:
    return record_found(store, egg, found, who=who, embryo_day=embryo_day)
