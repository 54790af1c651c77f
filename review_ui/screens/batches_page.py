"""The start: what the program is, the batches there are, and new batches, trays and eggs."""

from __future__ import annotations

from datetime import UTC, datetime, time

import streamlit as st

from incubation import records as rec
from incubation.species import SPECIES
from models.agreement_words import drop_words
from review_ui.screens import frame
from review_ui.screens.standing import standing_now
from review_ui.services.batch_entry import make_batch, make_tray, put_eggs
from review_ui.services.batch_summary import summary_of, summary_words
from review_ui.services.model_statement import SHORT, statement_lines

_LAYOUTS = {"grid": "straight rows", "staggered": "every other row shifted by half a cup"}


def show() -> None:
    """The page."""
    st.title("Batches")
    frame.show_notice()
    with st.container(border=True, key="model_statement"):
        st.write(SHORT)
        with st.expander("What the model was trained and measured on"):
            for line in statement_lines():
                st.write(line)

    store = frame.records()
    with store.read() as session:
        batches = rec.list_batches(session)
        states = {batch.id: rec.egg_states(session, batch.id) for batch in batches}
        trays = {batch.id: rec.trays_of(session, batch.id) for batch in batches}

    for drop in standing_now(store).drops:
        st.warning(drop_words(drop))
        frame.link("model", "Model")
    if not batches:
        st.info("No batch yet. Make one below: eggs that are set together are one batch.")
    for batch in batches:
        _batch(batch, states[batch.id])
    with st.expander("New batch", expanded=not batches, key="new_batch_box"):
        _new_batch(store)
    if batches:
        batch = _current(batches)
        with st.expander(f"Trays and eggs of {batch.name}", expanded=not states[batch.id], key="trays_box"):
            _trays(store, batch, trays[batch.id], states[batch.id])


def _current(batches: tuple[rec.Batch, ...]) -> rec.Batch:
    wanted = frame.remembered("batch")
    return next((batch for batch in batches if str(batch.id) == wanted), batches[0])


def _batch(batch: rec.Batch, states: tuple[rec.EggState, ...]) -> None:
    with st.container(border=True, key=f"batch_{batch.id}"):
        st.subheader(batch.name)
        breeds = f" ({', '.join(batch.breeds)})" if batch.breeds else ""
        st.write(
            f"{batch.species.capitalize()}{breeds}, {_day_words(batch)}. {summary_words(summary_of(states))}."
        )
        if st.button("Open", key=f"open_{batch.id}", type="primary"):
            frame.remember("batch", str(batch.id))
            frame.go("tray")


def _day_words(batch: rec.Batch) -> str:
    now = datetime.now(UTC)
    if batch.set_at > now:
        return f"to be set on {batch.set_at.astimezone():%d %B %Y}"
    return f"day {rec.day_of(batch, now)}, set on {batch.set_at.astimezone():%d %B %Y at %H:%M}"


def _new_batch(store: rec.Records) -> None:
    with st.form("new_batch"):
        name = st.text_input("Name of the batch", key="batch_name", max_chars=80, placeholder="Spring 1")
        species = st.selectbox("Species", list(SPECIES), key="batch_species")
        breeds = st.text_input("Breeds, separated by commas", key="batch_breeds", max_chars=200)
        left, right = st.columns(2)
        set_on = left.date_input("Set on", value="today", key="batch_set_on")
        set_time = right.time_input("at", value=time(18, 0), key="batch_set_time")
        note = st.text_input("Note", key="batch_note", max_chars=300)
        if not st.form_submit_button("Make the batch", type="primary"):
            return
    batch = make_batch(
        store, name=name, species=species, breeds=breeds, set_on=set_on, set_time=set_time, note=note
    )
    frame.remember("batch", str(batch.id))
    frame.notice(f"Recorded: batch {batch.name}. Add its tray and eggs next.")
    st.rerun()


def _trays(
    store: rec.Records, batch: rec.Batch, trays: tuple[rec.Tray, ...], states: tuple[rec.EggState, ...]
) -> None:
    for tray in trays:
        eggs = sum(state.tray.id == tray.id and not state.pulled for state in states)
        st.write(
            f"{tray.name}: {tray.rows} rows of {tray.columns} cups, {_LAYOUTS[tray.layout]}; "
            f"eggs in it: {eggs}"
        )
    if trays:
        _eggs(store, batch, trays)
    st.subheader("Add a tray")
    with st.form(f"new_tray_{batch.id}"):
        name = st.text_input(
            "Name of the tray", key="tray_name", max_chars=60, value="" if trays else "Tray 1"
        )
        left, right = st.columns(2)
        rows = left.number_input("Rows (lettered)", min_value=1, max_value=99, value=5, key="tray_rows")
        columns = right.number_input(
            "Columns (numbered)", min_value=1, max_value=99, value=6, key="tray_columns"
        )
        layout = st.selectbox("Cups in", list(_LAYOUTS), format_func=_LAYOUTS.__getitem__, key="tray_layout")
        submitted = st.form_submit_button("Add the tray")
    if submitted:
        tray = make_tray(store, batch.id, name=name, rows=int(rows), columns=int(columns), layout=layout)
        frame.notice(f"Recorded: tray {tray.name}. Put its eggs in next.")
        st.rerun()


def _eggs(store: rec.Records, batch: rec.Batch, trays: tuple[rec.Tray, ...]) -> None:
    st.subheader("Put eggs in")
    with st.form(f"put_eggs_{batch.id}"):
        names = {tray.id: tray.name for tray in trays}
        tray_id = st.selectbox("Into the tray", list(names), format_func=names.__getitem__, key="eggs_tray")
        cups = st.text_input("Cups", key="eggs_cups", placeholder="A1-C6, D2   or: all", max_chars=200)
        breed = st.text_input("Breed", key="eggs_breed", max_chars=80)
        source = st.text_input("Pen or source", key="eggs_source", max_chars=80)
        mark = st.text_input("Mark on the shell (for one egg)", key="eggs_mark", max_chars=40)
        submitted = st.form_submit_button("Put the eggs in")
    if submitted:
        tray = next(one for one in trays if one.id == tray_id)
        count = put_eggs(store, tray, cups=cups, breed=breed, source=source, mark=mark)
        frame.notice(f"Recorded: {count} {'egg' if count == 1 else 'eggs'} in {tray.name}.")
        st.rerun()
