"""What several pages show of one egg: the proposal in words, and its earlier days."""

from __future__ import annotations

import streamlit as st

from incubation import records as rec
from review_ui.picture_remarks import advice, to_look_at
from review_ui.screens import frame
from review_ui.services.egg_picture import reading_from_record
from review_ui.services.plain_markdown import plain

LOOK_LAYERS = ("outline", "air cell", "veins", "embryo", "ring", "look here")

_TODO = {"pass": "nothing to do", "confirm": "confirm before it is pulled", "review": "look closely"}


def proposal_words(look: rec.Look, *, species: str) -> None:
    """Status, probability and reasons, as the model gave them, and what else to look at."""
    proposal = look.proposal
    share = proposal.probability.get(proposal.status)
    sure = "" if share is None else f", {share:.0%}"
    st.markdown(f"Proposed: **{proposal.status}**{sure} ({_TODO[proposal.decision]})")
    for reason in proposal.reasons:
        st.markdown(f"- {plain(reason)}")
    problems = look.reading.measured.get("quality", {}).get("problems", [])
    if problems:
        st.markdown(
            f"- the picture is {plain(' and '.join(problems))}. What helps: {plain(advice(problems))}"
        )
    for what in to_look_at(reading_from_record(look.reading.measured), species=species):
        st.markdown(f"- look: {plain(what)}")


def earlier_days(history: rec.EggHistory, now: rec.Look, *, with_proposals: bool) -> None:
    """The same egg on its earlier days, small, the newest first."""
    before = [look for look in history.looks if look.reading.id != now.reading.id]
    if not before:
        return
    st.subheader("Earlier days")
    with st.container(horizontal=True, key="earlier_days"):
        for look in reversed(before):
            with st.container(width=190, key=f"day_{look.reading.id}"):
                picture = frame.look_picture(look, layers=("outline", "air cell"), side_px=460)
                if picture is not None:
                    st.image(picture, width=180)
                words = f"Day {look.reading.day:g}"
                if with_proposals:
                    words += f": {look.proposal.status}"
                    if look.proposal.reasons:
                        words += f" ({look.proposal.reasons[0]})"
                st.write(plain(words))


def calls_so_far(history: rec.EggHistory) -> None:
    """Every call of the egg in order, those undone too."""
    calls = [
        f"{call.status or 'undone'} by {call.who} on {call.at.astimezone():%d %b %H:%M}"
        for call in history.calls
    ]
    if calls:
        st.write(plain("Calls so far: " + "; ".join(calls) + "."))
