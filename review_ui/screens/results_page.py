"""How a hatch went: rates, groups, when embryos died, what may lie behind it, and the page for the binder."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

import altair as alt
import pandas as pd
import streamlit as st

from incubation.hatch_rates import GROUPINGS
from review_ui.report import gather_report
from review_ui.results import death_words, group_rows, rate_rows, tracing_text
from review_ui.screens import frame
from review_ui.services.eggs_csv import eggs_csv
from review_ui.services.hatch_report import HatchReport
from review_ui.services.plain_markdown import plain

_INK, _FAINT, _BAR = "#ece2d3", "#4a4137", "#d98f6a"


def show() -> None:
    """The page."""
    st.title("Results")
    store = frame.records()
    batch = frame.chosen_batch(store)
    if batch is None:
        return
    with store.read() as session:
        gathered = gather_report(session, batch, now=datetime.now(UTC))
    report = gathered.report
    frame.show_notice()
    if not report.eggs:
        st.info("No egg lies in this batch yet, so there is nothing to count.")
        frame.link("batches", "Batches")
        return
    if not report.over:
        st.info("The hatch is not over: these are the results so far.")
        frame.link("hatch", "Hatch day")
    st.subheader(f"{report.rates.eggs_set} {report.species.name} eggs set")
    _table(("rate", "figure"), rate_rows(report.rates))
    st.caption(
        "Intervals are 95 % (Wilson). A clear at candling is not known to be infertile until it is opened. "
        f"Early: to day {report.ranges.early_to_day}; mid: to day {report.ranges.mid_to_day} "
        f"({plain(report.ranges.source)})."
    )
    _groups(report)
    _deaths(report)
    st.subheader("What may lie behind it")
    st.text(tracing_text(report).partition("\n")[2])
    st.subheader("To keep")
    st.download_button(
        "The page for the binder (PDF)",
        gathered.pdf,
        file_name="hatch.pdf",
        mime="application/pdf",
        key="results_pdf",
        width="stretch",
        on_click="ignore",
    )
    st.download_button(
        "The eggs as CSV",
        eggs_csv(report.eggs),
        file_name="eggs.csv",
        mime="text/csv",
        key="results_csv",
        width="stretch",
        on_click="ignore",
    )


def _table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> None:
    """A plain table, its words as they were written."""
    st.table(
        pd.DataFrame([[plain(cell) for cell in row] for row in rows], columns=list(head)).set_index(head[0])
    )


def _groups(report: HatchReport) -> None:
    grouping = st.selectbox("Groups by", list(GROUPINGS), index=None, key="results_by", placeholder="none")
    if grouping is None:
        return
    head, rows, note = group_rows(report, grouping)
    _table(head, [tuple("not known" if cell is None else str(cell) for cell in row) for row in rows])
    st.caption(note)


def _deaths(report: HatchReport) -> None:
    st.subheader("Deaths by day")
    st.write(plain(death_words(report)))
    curve = report.curve
    if curve is not None and curve.died:
        table = pd.DataFrame({"day": curve.days, "deaths": curve.deaths})
        chart = (
            alt.Chart(table, height=200)
            .mark_bar(color=_BAR)
            .encode(
                x=alt.X("day:O", title="day", axis=alt.Axis(labelAngle=0, labelOverlap=True)),
                y=alt.Y("deaths:Q", title="deaths"),
                tooltip=["day:O", alt.Tooltip("deaths:Q", format=".1f")],
            )
            .configure_axis(
                labelColor=_INK, titleColor=_INK, gridColor=_FAINT, labelFontSize=14, titleFontSize=14
            )
        )
        st.altair_chart(chart, theme=None, width="stretch")
    for comparison in report.published:
        st.write(plain(comparison.sentence))
