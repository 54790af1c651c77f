"""The batches there are, the trays and eggs of each, and where its trays stand."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from incubation import records as rec
from review_ui.screens import frame
from review_ui.services.batch_entry import make_tray, put_eggs, put_trays
from review_ui.services.batch_summary import summary_of, summary_words
from review_ui.services.plain_markdown import plain

_LAYOUTS = {"grid": "straight rows", "staggered": "every other row shifted by half a cup"}


def show() -> None:
    """The page."""
    st.title("Batches")
    frame.show_notice()
    store = frame.records()
    with store.read() as session:
        batches = rec.list_batches(session)
        states = {batch.id: rec.egg_states(session, batch.id) for batch in batches}
        trays = {batch.id: rec.trays_of(session, batch.id) for batch in batches}
        machines = rec.list_machines(session)
        places = {place.tray_id: place for place in rec.tray_places(session)}
    if not batches:
        st.info("No batch yet. Make one on the page “Set eggs”.")
        frame.link("set", "Set eggs")
        return
    for batch in batches:
        _batch(batch, states[batch.id])
    batch = _current(batches)
    unfinished = not states[batch.id] or any(_homeless(tray, places) for tray in trays[batch.id])
    with st.expander(f"Trays and eggs of {plain(batch.name)}", expanded=unfinished, key="trays_box"):
        _trays(store, batch, trays[batch.id], states[batch.id], machines, places)


def _homeless(tray: rec.Tray, places: dict[int, rec.TrayPlace]) -> bool:
    """Whether no machine was ever named for a tray; one that was taken out is where it is to be."""
    return tray.id not in places


def _current(batches: tuple[rec.Batch, ...]) -> rec.Batch:
    wanted = frame.remembered("batch")
    return next((batch for batch in batches if str(batch.id) == wanted), batches[0])


def _batch(batch: rec.Batch, states: tuple[rec.EggState, ...]) -> None:
    with st.container(border=True, key=f"batch_{batch.id}"):
        st.subheader(plain(batch.name))
        breeds = f" ({', '.join(batch.breeds)})" if batch.breeds else ""
        st.write(
            plain(f"{batch.species.capitalize()}{breeds}, {_day_words(batch)}. ")
            + f"{summary_words(summary_of(states))}."
        )
        if st.button("Open", key=f"open_{batch.id}"):
            frame.remember("batch", str(batch.id))
            frame.go("tray")


def _day_words(batch: rec.Batch) -> str:
    now = datetime.now(UTC)
    if batch.set_at > now:
        return f"to be set on {batch.set_at.astimezone():%d %B %Y}"
    return f"day {rec.day_of(batch, now)}, set on {batch.set_at.astimezone():%d %B %Y at %H:%M}"


def _trays(
    store: rec.Records,
    batch: rec.Batch,
    trays: tuple[rec.Tray, ...],
    states: tuple[rec.EggState, ...],
    machines: tuple[rec.Machine, ...],
    places: dict[int, rec.TrayPlace],
) -> None:
    names = {machine.id: machine.name for machine in machines}
    for tray in trays:
        eggs = sum(state.tray.id == tray.id and not state.pulled for state in states)
        place = places.get(tray.id)
        where = "in no machine" if place is None or place.machine_id is None else names[place.machine_id]
        if place is not None and place.shelf is not None:
            where += f", shelf {place.shelf}"
        st.write(
            plain(
                f"{tray.name}: {tray.rows} rows of {tray.columns} cups, {_LAYOUTS[tray.layout]}; "
                f"eggs in it: {eggs}; {where}"
            )
        )
    if trays:
        _place(store, batch, trays, machines, places)
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


def _place(
    store: rec.Records,
    batch: rec.Batch,
    trays: tuple[rec.Tray, ...],
    machines: tuple[rec.Machine, ...],
    places: dict[int, rec.TrayPlace],
) -> None:
    """Trays that stand in no machine get one, at a tap; new machines may be named on the spot."""
    homeless = tuple(tray for tray in trays if _homeless(tray, places))
    if not homeless:
        return
    st.subheader("Put the trays into a machine")
    with st.form(f"place_trays_{batch.id}"):
        names: dict[int, str] = {machine.id: machine.name for machine in machines} | {0: "A new machine"}
        chosen = st.selectbox("Machine", list(names), format_func=names.__getitem__, key="place_machine")
        name = st.text_input("Name of a new machine", key="place_name", max_chars=60)
        fan = st.checkbox("It has a fan", value=True, key="place_fan")
        who = st.text_input("Your name", value=frame.remembered("who") or "", key="place_who", max_chars=60)
        submitted = st.form_submit_button("Put them in")
    if submitted:
        said = put_trays(store, batch, homeless, machine_id=chosen or None, name=name, fan=fan, who=who)
        frame.remember("who", who.strip())
        frame.notice(said)
        st.rerun()
