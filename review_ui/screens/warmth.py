"""The clock of a tray that is out of the warmth. Its start stands in the address, so a reload keeps it."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from review_ui.screens import frame
from review_ui.services.warmth_clock import clock_words, is_too_long, time_out


def show_clock() -> None:
    """The clock, or the button that starts it."""
    since = _since()
    with st.container(horizontal=True, vertical_alignment="center", key="warmth_clock"):
        if since is None:
            st.button("The tray is out now", key="clock_start", on_click=_start)
        else:
            _ticking(since)
            st.button("The tray is back", key="clock_stop", on_click=frame.remember, args=("out", None))


@st.fragment(run_every=10)
def _ticking(since: datetime) -> None:
    out = time_out(since, datetime.now(UTC))
    st.html(f'<div class="clock{" late" if is_too_long(out) else ""}">{clock_words(out)}</div>')


def _start() -> None:
    frame.remember("out", datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"))


def _since() -> datetime | None:
    try:
        since = datetime.fromisoformat(frame.remembered("out") or "")
    except ValueError:
        return None
    return since if since.tzinfo is not None else since.replace(tzinfo=UTC)
