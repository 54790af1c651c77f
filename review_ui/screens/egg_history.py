"""The egg over its days: a line a day in words, and both pictures where two days contradict each other."""

from __future__ import annotations

import streamlit as st

from incubation import records as rec
from review_ui.screens import frame
from review_ui.screens.egg_panel import LOOK_LAYERS
from review_ui.services.egg_story import day_lines
from review_ui.services.swaps import SwapQuestion, answer_question, exchange

_SIDE_PX = 700


def days_in_words(history: rec.EggHistory, *, with_proposals: bool) -> None:
    """What each day showed, where there are several."""
    if len(history.looks) < 2:
        return
    with st.container(key="egg_days"):
        st.text("\n".join(day_lines(history, with_proposals=with_proposals)))


def both_pictures(question: SwapQuestion, *, layers: tuple[str, ...] = LOOK_LAYERS) -> None:
    """The earlier look and today's, side by side on a phone too."""
    with st.container(key="both_pictures"):
        sides = st.columns(2, gap="small", wrap=False)
        for side, look in zip(sides, (question.earlier, question.now), strict=True):
            with side:
                picture = frame.look_picture(look, layers=layers, side_px=_SIDE_PX)
                st.write(f"**Day {look.reading.day:g}**" + (", now" if look is question.now else ""))
                if picture is not None:
                    st.image(picture, width="stretch", alt=f"The egg on day {look.reading.day:g}")


def ask_swapped(store: rec.Records, question: SwapQuestion, who: str, *, with_proposals: bool) -> None:
    """The question of swapped eggs, with its three answers; once answered, what was said."""
    with st.container(border=True, key="swap_question"):
        why = f"{question.reason[:1].upper()}{question.reason[1:]}. " if with_proposals else ""
        if question.answer is not None:
            st.text(f"{why}{question.answer.who} on whether it was swapped: {question.answer.answer}.")
            return
        st.text(f"{why}Was it swapped with another egg? Compare mark, shell and shape.")
        reading = question.now.reading.id
        other = None
        if question.others:
            by_id = {egg.id: egg for egg in question.others}
            other = by_id[
                st.selectbox(
                    "It may have been swapped with",
                    list(by_id),
                    format_func=lambda egg_id: _called(by_id[egg_id]),
                    key=f"swap_other_{reading}",
                )
            ]
        with st.container(horizontal=True):
            if other is not None:
                st.button(
                    f"Swapped with {other.cup}",
                    key=f"swap_yes_{reading}",
                    on_click=_exchange,
                    args=(store, question, other, who),
                )
            st.button(
                "Same egg",
                key=f"swap_same_{reading}",
                on_click=_answer,
                args=(store, question, "same egg", who),
            )
            st.button(
                "Don't know",
                key=f"swap_unknown_{reading}",
                on_click=_answer,
                args=(store, question, "not known", who),
            )


def _called(egg: rec.Egg) -> str:
    return f"{egg.cup} (mark {egg.mark})" if egg.mark else egg.cup


@frame.acting
def _exchange(store: rec.Records, question: SwapQuestion, other: rec.Egg, who: str) -> str:
    return exchange(store, question, other, who=who)


@frame.acting
def _answer(store: rec.Records, question: SwapQuestion, answer: str, who: str) -> str:
    return answer_question(store, question, answer, who=who)
