"""The model: which one judges, what has been earned with it, how people agree with it, and the others."""

from __future__ import annotations

import streamlit as st

from incubation import records as rec
from models.agreement_words import KAPPA, drop_words
from models.earned_bound import Earned
from models.earned_words import promise, promise_details
from review_ui.examine_pool import processor_count
from review_ui.screens import frame
from review_ui.screens.standing import standing_now
from review_ui.services.model_standing import (
    Standing,
    agreement_table,
    batch_table,
    chance_table,
    figures_table,
    left_out_words,
)
from review_ui.services.model_statement import SHORT, statement_lines
from review_ui.services.own_model import restore_model
from review_ui.services.training import Trained, counts_words, train


def show() -> None:
    """The page."""
    st.title("Model")
    store = frame.records()
    frame.show_notice()
    standing = standing_now(store)
    for drop in standing.drops:
        st.warning(drop_words(drop))
    _in_use(standing)
    _earned(standing)
    _agreement(standing)
    who = frame.reviewer()
    if who is None:
        return
    _models(store, standing, who)
    _train(store, who)
    frame.show_reviewer(who)


def _in_use(standing: Standing) -> None:
    with st.container(border=True, key="model_in_use"):
        if standing.trouble is not None:
            st.error(f"The model cannot be used, so no photo is judged: {standing.trouble}")
        if standing.own is None:
            st.write(f"In use: the **shipped model** ({standing.name}). {SHORT}")
        else:
            st.write(
                f"In use: **{standing.own.name}**, fitted to your eggs on "
                f"{standing.own.recorded_at.astimezone():%d %B %Y}, on top of the shipped model."
            )
        with st.expander("What it was trained and measured on"):
            if standing.own is not None:
                _own_card(standing.own)
            for line in statement_lines():
                st.write(line)


def _own_card(own: rec.OwnModel) -> None:
    if "counts" in own.card:
        st.write(f"{own.name} learnt from {counts_words(own.card['counts'])}.")
    if "figures" in own.card:
        st.markdown(figures_table(own.card["figures"]))
        st.caption(left_out_words(own.card["figures"]))
    st.write("On top of the shipped model, of which:")


def _earned(standing: Standing) -> None:
    st.subheader("What your own eggs support")
    for earned in (standing.living, standing.dead):
        with st.container(border=True, key=f"earned_{'living' if earned is standing.living else 'dead'}"):
            _promise(earned)
    st.caption(
        "Counted for the model in use, on eggs that hatched or were opened, one vote an egg, by what was "
        "proposed before that was known; calls never count, nor do eggs nobody opened. It holds for eggs "
        "to come that are like these: the same lamp, phone, shells and days."
    )


def _promise(earned: Earned) -> None:
    st.write(f"**{promise(earned)}**" if earned.eggs else promise(earned))
    for line in promise_details(earned):
        st.write(line)


def _agreement(standing: Standing) -> None:
    st.subheader("Agreement")
    if not standing.by_batch:
        st.write("Nobody has called an egg against a proposal yet.")
        return
    if standing.with_model:
        st.markdown(agreement_table((*standing.with_model, *standing.between)))
        st.caption(KAPPA)
    else:
        st.write(
            "No egg was called blind yet. On the page “Review”, hide the proposal until you have called: "
            "only such calls show whether you and the model agree."
        )
    st.markdown(batch_table(standing.by_batch))
    st.caption("Blind: called without the proposal in view. In view: the person may have followed the model.")
    with st.expander("By status and chance"):
        st.markdown(chance_table(standing.by_chance))


def _models(store: rec.Records, standing: Standing, who: str) -> None:
    st.subheader("Models")
    if not standing.models:
        st.write("Only the shipped model is there. Nothing that you do changes it.")
        return
    for own in (*standing.models, None):
        name = rec.SHIPPED_NAME if own is None else own.name
        with st.container(border=True, key=f"model_{name}"):
            if own is None:
                st.write("**shipped**: comes with the program")
            else:
                eggs = own.card.get("counts", {}).get("eggs")
                on = f" on {eggs} eggs" if eggs else ""
                st.write(f"**{name}**: trained {own.recorded_at.astimezone():%d %B %Y} by {own.who}{on}")
            if own == standing.own:
                st.caption("In use")
            elif st.session_state.get("_restore") == name:
                st.write(f"From now on new photos are judged by {name}. What is recorded stays as it is.")
                with st.container(horizontal=True):
                    st.button(
                        f"Yes, use {name}",
                        key=f"yes_{name}",
                        type="primary",
                        on_click=_restore,
                        args=(store, name, who),
                    )
                    st.button("No", key=f"no_{name}", on_click=_ask, args=(None,))
            else:
                st.button(f"Use {name}", key=f"use_{name}", on_click=_ask, args=(name,))


def _ask(name: str | None) -> None:
    st.session_state["_restore"] = name


@frame.acting
def _restore(store: rec.Records, name: str, who: str) -> str:
    _ask(None)
    return restore_model(store, name, who=who)


def _train(store: rec.Records, who: str) -> None:
    with st.expander("Train on my eggs", key="train_box"):
        st.write(
            "Learns from what was found in your eggs and from your calls. The new model is compared with the "
            "shipped one on batches left out, and is only used if it makes no more costly errors. The first "
            "time takes some minutes, since every photo is looked at."
        )
        if st.button("Train", key="train", type="primary"):
            bar = st.progress(0.0, text="Looking at the photos ...")

            def told(done: int, total: int) -> None:
                bar.progress(done / total, text=f"{done} of {total} photos")

            def say(text: str) -> None:
                bar.progress(1.0, text=text)

            st.session_state["_trained"] = train(
                store, who=who, processes=processor_count(), progress=told, say=say
            )
            st.rerun()
    trained: Trained | None = st.session_state.get("_trained")
    if trained is not None:
        _result(trained)


def _result(trained: Trained) -> None:
    with st.container(border=True, key="train_result"):
        if trained.model is not None:
            st.success(f"Adopted as {trained.model.name}: it judges from now on.")
        else:
            st.info(f"Not adopted: {'; '.join(trained.comparison.reasons)}.")
        st.write(f"Learnt from {counts_words(trained.counts)}.")
        st.markdown(figures_table(trained.comparison.record()))
        st.caption(left_out_words(trained.comparison.record()))
        for line in trained.problems:
            st.warning(line)
