"""The machine's log: two numbers and a note, the last lines, and the course of both as a chart."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import altair as alt
import pandas as pd
import streamlit as st

from incubation import records as rec
from review_ui.cautions import UNPLUG
from review_ui.log import log_remarks
from review_ui.screens import frame
from review_ui.services.climate import Climate, climate_of
from review_ui.services.log_entry import TypedEntry, entry_words, record_typed
from review_ui.services.plain_markdown import plain
from review_ui.typed_numbers import both_units

_SHOWN = timedelta(days=14)
_LINES = 8
_INK, _FAINT, _WARM, _DAMP = "#ece2d3", "#4a4137", "#d98f6a", "#9dbfd4"
_FIELDS = ("temperature", "humidity", "wet_bulb", "turns", "water", "event", "note")


def show() -> None:
    """The page."""
    st.title("Log")
    store = frame.records()
    frame.show_notice()
    machine = _chosen_machine(store)
    if machine is None:
        return
    who = frame.reviewer()
    if who is None:
        return
    _entry_form(store, machine, who)
    now = datetime.now(UTC)
    with store.read() as session:
        climate = climate_of(session, machine, since=now - _SHOWN)
    if not climate.points:
        st.info("Nothing is noted in the last two weeks.")
    else:
        _chart(climate)
        _last_lines(climate, who)
    for remark in log_remarks(climate, since=now - _SHOWN, until=now):
        st.write(plain(remark))
    st.caption("A logger's file is taken with the command: trayglow log import FILE")
    frame.show_reviewer(who)


def _chosen_machine(store: rec.Records) -> rec.Machine | None:
    with store.read() as session:
        machines = rec.list_machines(session)
    if not machines:
        st.info("No machine is recorded yet. It is made with the first batch, on the page “Set eggs”.")
        frame.link("set", "Set eggs")
        return None
    if len(machines) == 1:
        return machines[0]
    names = {one.id: one.name for one in machines}
    chosen = st.selectbox("Machine", list(names), format_func=names.__getitem__, key="log_machine")
    return next(one for one in machines if one.id == chosen)


def _entry_form(store: rec.Records, machine: rec.Machine, who: str) -> None:
    left, right = st.columns(2)
    left.text_input("Temperature (C, or with F: 99.7F)", key="log_temperature", placeholder="37.6")
    right.text_input("Humidity, %", key="log_humidity", placeholder="45")
    with st.expander("Wet bulb, turns, water, what happened"):
        st.text_input("Wet bulb (C, or with F), instead of the humidity", key="log_wet_bulb")
        st.text_input("Turns since the last note", key="log_turns")
        st.text_input("Water added, mL", key="log_water")
        st.text_input("What happened", key="log_event", placeholder="power cut, window open")
        st.text_input("Note", key="log_note", max_chars=300)
    asked_of, asked = st.session_state.get("_log_asked", (None, None))
    asked = asked if asked_of == machine.id else None
    if asked:
        st.warning(plain(asked))
    label = "It is right: note it" if asked else "Note it"
    st.button(
        label,
        key="log_add",
        type="primary",
        width="stretch",
        on_click=frame.acting(_note),
        args=(store, machine, who, bool(asked)),
    )
    st.caption(UNPLUG)


def _note(store: rec.Records, machine: rec.Machine, who: str, insist: bool) -> str | None:
    typed = TypedEntry(**{field: str(st.session_state.get(f"log_{field}") or "") for field in _FIELDS})
    # What was asked back counts for what was typed then, not for something else typed since.
    insist = insist and st.session_state.pop("_log_asked_about", None) == (machine.id, typed)
    st.session_state.pop("_log_asked", None)
    try:
        record_typed(store, machine, typed, who=who, now=datetime.now(UTC), insist=insist)
    except rec.QuestionedError as error:
        st.session_state["_log_asked"] = (machine.id, str(error))
        st.session_state["_log_asked_about"] = (machine.id, typed)
        return None
    for field in _FIELDS:
        st.session_state[f"log_{field}"] = ""
    return f"Noted for {machine.name}."


def _chart(climate: Climate) -> None:
    table = pd.DataFrame(
        {
            "time": [point.at.astimezone().replace(tzinfo=None) for point in climate.points],
            "temperature": [point.temperature_c for point in climate.points],
            "humidity": [point.humidity_percent for point in climate.points],
            "event": [point.entry.event for point in climate.points],
        }
    )
    time = alt.X("time:T", title=None, axis=alt.Axis(format="%a %d", labelOverlap=True))
    for field, title, colour in (("temperature", "C", _WARM), ("humidity", "%RH", _DAMP)):
        if table[field].notna().any():
            line = (
                alt.Chart(table.dropna(subset=[field]), height=150)
                .mark_line(point={"color": colour}, color=colour)
                .encode(
                    x=time,
                    y=alt.Y(
                        f"{field}:Q", title=title, scale=alt.Scale(zero=False), axis=alt.Axis(minExtent=50)
                    ),
                    tooltip=["time:T", alt.Tooltip(f"{field}:Q", format=".1f"), "event:N"],
                )
            )
            marks = alt.Chart(table[table["event"] != ""]).mark_rule(color=_INK, strokeDash=[4, 4])
            # Two charts, not one of two parts: only a single one is made to fit a phone.
            chart = (line + marks.encode(x=time, tooltip=["time:T", "event:N"])).configure_axis(
                labelColor=_INK, titleColor=_INK, gridColor=_FAINT, labelFontSize=14, titleFontSize=14
            )
            st.altair_chart(chart, theme=None, width="stretch")
    st.write(plain(_chart_words(climate)))


def _chart_words(climate: Climate) -> str:
    warm = [point.temperature_c for point in climate.points if point.temperature_c is not None]
    damp = [point.humidity_percent for point in climate.points if point.humidity_percent is not None]
    parts = []
    if warm:
        parts.append(
            f"between {min(warm):.1f} and {max(warm):.1f} C, on average {both_units(sum(warm) / len(warm))}"
        )
    if damp:
        parts.append(
            f"between {min(damp):.0f} and {max(damp):.0f} %RH, on average {sum(damp) / len(damp):.0f}"
        )
    events = sum(bool(point.entry.event) for point in climate.points)
    if events:
        parts.append("one event, dashed" if events == 1 else f"{events} events, dashed")
    return f"In the last two weeks: {'; '.join(parts) or 'no reading'}. Corrected by the instruments' checks."


def _last_lines(climate: Climate, who: str) -> None:
    st.subheader("Last lines")
    for point in reversed(climate.points[-_LINES:]):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.write(plain(f"{point.at.astimezone():%a %d %b %H:%M}: {entry_words(point.entry)}"))
            st.button(
                "Take back",
                key=f"log_back_{point.entry.id}",
                type="tertiary",
                on_click=frame.acting(_take_back),
                args=(point.entry.id, who),
            )


def _take_back(entry_id: int, who: str) -> str:
    with frame.records().write() as session:
        rec.withdraw_log_entry(session, entry_id, who=who)
    return "Taken back; the line stays in the history."
