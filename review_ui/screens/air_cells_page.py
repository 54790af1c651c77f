"""Air cells and humidity: how they grow, where the batch will land, what to run, and weighings."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime

import altair as alt
import pandas as pd
import streamlit as st

from incubation import records as rec
from review_ui.cautions import UNPLUG
from review_ui.errors import UsageError
from review_ui.humidity import headline
from review_ui.screens import frame
from review_ui.services.batch_water import BatchWater, batch_water
from review_ui.services.cell_growth import cell_points, growth_sentence, norm_points
from review_ui.services.plain_markdown import plain
from review_ui.typed_numbers import both_units, grams_option

_INK, _FAINT, _BAND, _EGG = "#ece2d3", "#4a4137", "#79b594", "#c2a05c"


def show() -> None:
    """The page."""
    st.title("Air cells")
    store = frame.records()
    frame.show_notice()
    batch = frame.chosen_batch(store)
    if batch is None:
        return
    with store.read() as session:
        water = batch_water(session, batch, now=datetime.now(UTC))
        trays = rec.trays_of(session, batch.id)
    _advice(water)
    _growth(water)
    _weighings(store, batch, trays)
    with st.expander("Reasons", expanded=water.advice is not None):
        for reason in water.advice.reasons if water.advice is not None else (water.reason or "",):
            st.write(plain(reason))
        for remark in water.remarks:
            st.write(plain(remark))


def _advice(water: BatchWater) -> None:
    if water.advice is None or water.loss is None:
        st.info(plain(water.reason or ""))
        return
    low, high = water.target
    with st.container(border=True, key="humidity_advice"):
        st.subheader(plain(headline(water.advice)))
        landing = water.loss.at_lockdown
        st.write(
            plain(
                f"Lost so far {water.loss.so_far.value:.1f} % ({water.loss.so_far.low:.1f} to "
                f"{water.loss.so_far.high:.1f}). At lockdown, if nothing changes, {landing.value:.1f} % "
                f"({landing.low:.1f} to {landing.high:.1f}); aim {low:.1f} to {high:.1f} %."
            )
        )
        advice = water.advice
        if advice.action in ("raise", "lower") and advice.humidity is not None:
            wet = None if advice.wet_bulb_c is None else both_units(advice.wet_bulb_c.value)
            st.write(
                plain(
                    f"A true humidity of {advice.humidity.value:.0f} %RH ({advice.humidity.low:.0f} to "
                    f"{advice.humidity.high:.0f})" + (f", wet bulb {wet}." if wet else ".")
                )
            )
            st.caption(UNPLUG)
        if advice.weigh and advice.weighing_narrows_to is not None:
            st.write(
                plain(
                    "A tray weighed twice would narrow this to about "
                    f"±{advice.weighing_narrows_to:.1f} points."
                )
            )


def _growth(water: BatchWater) -> None:
    points = cell_points(water)
    if points:
        day = alt.X(
            "day:Q", title="day of incubation", scale=alt.Scale(domain=[0, water.species.lockdown_day])
        )
        band = (
            alt.Chart(pd.DataFrame(norm_points(water)), height=280)
            .mark_area(color=_BAND, opacity=0.35)
            .encode(x=day, y=alt.Y("low:Q", title="% of the egg's volume"), y2="high:Q")
        )
        table = pd.DataFrame(points)
        eggs = (
            alt.Chart(table)
            .mark_line(point={"color": _EGG}, color=_EGG, opacity=0.6, strokeWidth=1)
            .encode(
                x=day,
                y="percent:Q",
                detail="egg:N",
                tooltip=["egg:N", "day:Q", alt.Tooltip("percent:Q", format=".1f")],
            )
        )
        chart = (band + eggs).configure_axis(
            labelColor=_INK, titleColor=_INK, gridColor=_FAINT, labelFontSize=14, titleFontSize=14
        )
        st.altair_chart(chart, theme=None, width="stretch")
    st.write(plain(growth_sentence(water, points)))
    if points:
        st.caption("Band: where the mean of a well-run batch lies. Lines: single eggs.")


def _weighings(store: rec.Records, batch: rec.Batch, trays: tuple[rec.Tray, ...]) -> None:
    with st.container(border=True, key="weighing"):
        st.subheader("Weigh a tray")
        tray = frame.chosen_tray(trays, key="weigh_tray")
        who = frame.reviewer()
        if tray is None or who is None:
            return
        with store.read() as session:
            before = rec.weighings_of(session, tray_id=tray.id)
            standing = sum(not one.pulled for one in rec.egg_states(session, batch.id, tray_id=tray.id))
        left, right = st.columns(2)
        left.text_input("With its eggs, g", key=f"weigh_gross_{tray.id}", placeholder="1692")
        right.text_input(
            "Empty tray, g",
            key=f"weigh_tare_{tray.id}",
            placeholder=f"{before[-1].tare_g:g}" if before else "300",
        )
        asked_of, asked = st.session_state.get("_weigh_asked", (None, None))
        asked = asked if asked_of == tray.id else None
        if asked:
            st.warning(plain(asked))
        st.button(
            "It is right: keep it" if asked else f"Keep it ({standing} eggs on it)",
            key="weigh_add",
            width="stretch",
            disabled=standing == 0,
            on_click=frame.acting(_weigh),
            args=(tray.id, standing, before[-1].tare_g if before else None, who, bool(asked)),
        )
        for one in before[-3:]:
            mean = "" if one.mean_g is None else f", {one.mean_g:.2f} g an egg"
            st.caption(
                f"{one.at.astimezone():%a %d %b %H:%M}: {one.net_g:.0f} g net, {one.eggs_on} eggs{mean}"
            )


def _weigh(tray_id: int, eggs: int, known_tare: float | None, who: str, insist: bool) -> str | None:
    typed = tuple(str(st.session_state.get(f"weigh_{what}_{tray_id}") or "") for what in ("gross", "tare"))
    insist = insist and st.session_state.pop("_weigh_asked_about", None) == (tray_id, typed)
    st.session_state.pop("_weigh_asked", None)
    try:
        gross = grams_option(typed[0])
        tare = grams_option(typed[1]) if typed[1].strip() else known_tare
    except argparse.ArgumentTypeError as error:
        raise UsageError(f"{error}. Nothing was recorded.") from error
    if tare is None:
        raise UsageError("What does the empty tray weigh? Without it the loss looks smaller than it is.")
    try:
        with frame.records().write() as session:
            rec.add_weighing(
                session, tray_id=tray_id, gross_g=gross, tare_g=tare, eggs_on=eggs, who=who, insist=insist
            )
    except rec.QuestionedError as error:
        st.session_state["_weigh_asked"] = (tray_id, str(error))
        st.session_state["_weigh_asked_about"] = (tray_id, typed)
        return None
    st.session_state[f"weigh_gross_{tray_id}"] = ""
    return f"Kept: {gross - tare:.0f} g net."
