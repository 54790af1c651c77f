"""A new batch from one form; single eggs, where one wants to, on a second step."""

from __future__ import annotations

from datetime import UTC, date, datetime, time

import streamlit as st

from incubation import records as rec
from incubation.choosing import FINDINGS
from incubation.remark import Remark
from incubation.species import SPECIES
from review_ui.errors import UsageError
from review_ui.screens import frame
from review_ui.services.plain_markdown import plain
from review_ui.services.set_eggs import (
    OWN,
    SHIPPED,
    NewMachine,
    Setting,
    egg_advice,
    free_name,
    just_set,
    note_eggs,
    require_sense,
    set_eggs,
    setting_remarks,
)

_FROM = {OWN: "My own pens", SHIPPED: "By post"}
_AIR = {"forced air": "It has a fan", "still air": "No fan (still air)"}
_FORM = {"tabletop": "Tabletop", "cabinet": "Cabinet"}
_NEW = 0  # in place of a machine's id
_CHOSEN = {"set": "Set it.", "set with care": "Set it with care.", "leave out": "Better leave it out."}
HYGIENE = "Wash your hands before and after; leave out cracked, leaking and badly soiled eggs."


def show() -> None:
    """The page."""
    st.title("Set eggs")
    store = frame.records()
    frame.show_notice()
    done: tuple[int, tuple[Remark, ...]] | None = st.session_state.get("_set_eggs")
    if done is not None and _second_step(store, *done):
        return
    with store.read() as session:
        batches = rec.list_batches(session)
        machines = rec.list_machines(session)
        before = rec.trays_of(session, batches[0].id) if batches else ()
    setting, who = _form(batches, machines, before)
    remarks(setting_remarks(setting))
    st.caption(HYGIENE)
    eggs = "1 egg" if setting.count == 1 else f"{setting.count} eggs"
    if st.button(f"Set {eggs}", key="set_eggs", type="primary", width="stretch"):
        if not who.strip():
            raise UsageError("Your name: say who records this.")
        require_sense(setting)
        # A second tap stops what the first one was about to show, though it has recorded the batch.
        kept = just_set(store, setting, now=datetime.now(UTC)) or set_eggs(store, setting, who=who.strip())
        frame.remember("who", who.strip())
        frame.remember("batch", str(kept.batch.id))
        frame.notice(kept.sentence)
        st.session_state["_set_eggs"] = (kept.batch.id, kept.remarks)
        st.rerun()


def _form(
    batches: tuple[rec.Batch, ...], machines: tuple[rec.Machine, ...], before: tuple[rec.Tray, ...]
) -> tuple[Setting, str]:
    """The fields, filled in with what was so last time."""
    # Kept while the form is open: a field whose default changes would lose what was typed into it.
    if "set_name" not in st.session_state:
        at = datetime.now().astimezone().replace(second=0, microsecond=0)
        name = free_name([one.name for one in batches], at.date())
        st.session_state["_set_defaults"] = (name, at, batches[0] if batches else None, before)
    first_name, now, last, before = st.session_state["_set_defaults"]
    left, right = st.columns(2)
    with left.container(border=True, key="set_batch"):
        name = st.text_input(
            "Name of the batch",
            value=first_name,
            key="set_name",
            max_chars=80,
        )
        kinds = list(SPECIES)
        species = st.selectbox(
            "Species",
            kinds,
            index=kinds.index(last.species) if last is not None else kinds.index("chicken"),
            key="set_species",
        )
        breed = st.text_input(
            "Breed (several: with commas)",
            value=", ".join(last.breeds) if last is not None else "",
            key="set_breed",
            max_chars=200,
        )
        day, hour = st.columns(2)
        set_on = day.date_input("Set on", value=now.date(), key="set_on", format="YYYY-MM-DD")
        set_time = hour.time_input("at", value=now.time(), key="set_time")
        set_at = datetime.combine(set_on, set_time).astimezone()
    with right.container(border=True, key="set_source"):
        origin = st.radio(
            "Where the eggs are from",
            list(_FROM),
            format_func=_FROM.__getitem__,
            key="set_origin",
            horizontal=True,
        )
        sent = broken = None
        arrived: date | None = None
        if origin == SHIPPED:
            source = st.text_input("Sender", key="set_sender", max_chars=60)
            one, two = st.columns(2)
            sent = one.number_input("Eggs in the box", 1, 999, value=None, step=1, key="set_sent")
            broken = two.number_input("Broken on arrival", 0, 999, value=0, step=1, key="set_broken")
            arrived = st.date_input("Arrived on", value=None, key="set_arrived", format="YYYY-MM-DD")
        else:
            source = st.text_input("Pen", key="set_pen", max_chars=60)
        one, two = st.columns(2)
        oldest = one.number_input("Oldest egg, days old", 0, 60, value=None, step=1, key="set_oldest")
        newest = two.number_input("Newest egg, days old", 0, 60, value=None, step=1, key="set_newest")
        stored = st.number_input(
            "Kept at, °C (if known)", 0.0, 35.0, value=None, step=1.0, format="%.0f", key="set_stored"
        )
    left, right = st.columns(2)
    with left.container(border=True, key="set_trays"):
        one, two = st.columns(2)
        rows = one.number_input("Rows of the tray", 1, 26, before[0].rows if before else 5, 1, key="set_rows")
        columns = two.number_input("Columns", 1, 99, before[0].columns if before else 6, 1, key="set_columns")
        one, two = st.columns(2)
        trays = one.number_input("Trays of this size", 1, 20, max(len(before), 1), 1, key="set_trays_count")
        eggs = two.number_input(
            "Number of eggs", 1, 2000, value=None, step=1, key="set_count", placeholder="all"
        )
        st.caption(f"Cup by cup from A1; all {rows * columns * trays} cups where no number is given.")
    with right.container(border=True, key="set_machine_box"):
        machine, shelf = _machine(machines)
        who = frame.remembered("who") or ""
        if not who:
            who = st.text_input("Your name", key="set_who", max_chars=60)
    return (
        Setting(
            name=name,
            species=species,
            breed=breed,
            set_at=set_at,
            machine=machine,
            shelf=shelf,
            origin=origin,
            source=source,
            sent=sent,
            broken=broken,
            arrived_at=_arrived(arrived, set_at),
            oldest_days=oldest,
            newest_days=newest,
            stored_at_c=stored,
            rows=int(rows),
            columns=int(columns),
            trays=int(trays),
            eggs=eggs,
        ),
        who,
    )


def _machine(machines: tuple[rec.Machine, ...]) -> tuple[int | NewMachine, int | None]:
    """The machine chosen or described, and the shelf of the first tray where it has several."""
    names = {one.id: one.name for one in machines} | {_NEW: "A new machine"}
    chosen = _NEW
    if machines:
        chosen = st.selectbox("Machine", list(names), format_func=names.__getitem__, key="set_machine")
    if chosen == _NEW:
        name = st.text_input(
            "Name of the machine", value="" if machines else "Incubator", key="set_machine_name"
        )
        air = st.radio("Air", list(_AIR), format_func=_AIR.__getitem__, key="set_air", horizontal=True)
        form = st.radio("Form", list(_FORM), format_func=_FORM.__getitem__, key="set_form", horizontal=True)
        shelves = 1
        if form == "cabinet":
            shelves = int(st.number_input("Shelves", 1, 40, 3, 1, key="set_shelves"))
        machine: int | NewMachine = NewMachine(name, air, form, shelves)
    else:
        machine = chosen
        shelves = next(one.shelves for one in machines if one.id == chosen)
    if shelves == 1:
        return machine, None
    shelf = st.number_input(
        "Shelf of the first tray (from the top)", 1, shelves, value=None, step=1, key="set_shelf"
    )
    return machine, shelf


def _arrived(day: date | None, set_at: datetime) -> datetime | None:
    """Noon of the day of arrival, or, on the day of setting, no later than that."""
    if day is None:
        return None
    noon = datetime.combine(day, time(12)).astimezone()
    return min(noon, set_at) if day == set_at.date() else noon


def remarks(found: tuple[Remark, ...]) -> None:
    """Each remark with its source; those that call for care stand out, also by their sign."""
    for remark in found:
        text = plain(f"{remark.text} ({remark.source})")
        if remark.weight == "note":
            st.info(text)
        else:
            st.warning(text)


def _second_step(store: rec.Records, batch_id: int, said: tuple[Remark, ...]) -> bool:
    """What to do after setting; whether the page is thereby done."""
    with store.read() as session:
        batch = next((one for one in rec.list_batches(session) if one.id == batch_id), None)
        trays = () if batch is None else rec.trays_of(session, batch.id)
    if batch is None:  # other records were opened meanwhile
        st.session_state.pop("_set_eggs", None)
        return False
    st.subheader(f"{plain(batch.name)} is set")
    remarks(said)
    st.write(
        "Weigh each tray now, full and empty: with a second weighing half way, that tells best how much "
        "water the eggs lose."
    )
    if st.button("To Now", key="set_done", type="primary", width="stretch"):
        st.session_state.pop("_set_eggs", None)
        frame.go("now")
    frame.link("air", "Weigh the trays")
    st.button("Set another batch", key="set_another", on_click=_another)
    with st.expander("Single eggs: mass, size, what you saw (optional)", key="single_eggs"):
        _single_eggs(store, batch, trays)
    return True


def _another() -> None:
    for key in [name for name in st.session_state if str(name).startswith("set_")]:
        del st.session_state[key]
    st.session_state.pop("_set_eggs", None)


def _single_eggs(store: rec.Records, batch: rec.Batch, trays: tuple[rec.Tray, ...]) -> None:
    tray = frame.chosen_tray(trays, key="egg_tray")
    if tray is None:
        return
    cups = st.text_input("Cups", key="egg_cups", placeholder="A1   or: A1-B3, D2", max_chars=200)
    one, two, three = st.columns(3)
    mass = one.number_input("Mass, g", 1.0, 400.0, value=None, step=0.1, format="%.1f", key="egg_mass")
    length = two.number_input(
        "Length, mm", 10.0, 150.0, value=None, step=0.1, format="%.1f", key="egg_length"
    )
    breadth = three.number_input(
        "Breadth, mm", 10.0, 150.0, value=None, step=0.1, format="%.1f", key="egg_breadth"
    )
    seen = st.pills("What you saw", FINDINGS, selection_mode="multi", key="egg_findings")
    one, two = st.columns(2)
    breed = one.text_input("Breed", key="egg_breed", max_chars=80)
    mark = two.text_input("Mark on the shell (one egg)", key="egg_mark", max_chars=40)
    if seen or mass is not None or length is not None:
        advice = egg_advice(batch, mass_g=mass, length_mm=length, breadth_mm=breadth, findings=tuple(seen))
        st.write(f"**{_CHOSEN[advice.advice]}** You decide.")
        remarks(advice.remarks)
    who = frame.remembered("who") or ""
    st.button(
        "Note it",
        key="egg_note",
        on_click=_note,
        args=(store, tray, cups, who),
        kwargs={
            "breed": breed,
            "mark": mark,
            "mass_g": mass,
            "length_mm": length,
            "breadth_mm": breadth,
            "findings": tuple(seen),
        },
    )


@frame.acting
def _note(store: rec.Records, tray: rec.Tray, cups: str, who: str, **known: object) -> str:
    said = note_eggs(store, tray, cups=cups, who=who, **known)  # type: ignore[arg-type]
    for key in [name for name in st.session_state if str(name).startswith("egg_") and name != "egg_tray"]:
        del st.session_state[key]
    return said
