"""The start: what is due today, what waits for a look, what is out of line; one tap to each."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Literal

import streamlit as st
from sqlalchemy.orm import Session

from incubation import records as rec
from models.agreement_words import drop_words
from review_ui.screens import frame
from review_ui.screens.standing import standing_now
from review_ui.services.model_statement import SHORT, statement_lines
from review_ui.services.now import (
    DONE_AT_A_TAP,
    Alarm,
    BatchNow,
    Place,
    ToDo,
    record_done,
    water_mark,
    water_words,
    what_is_now,
)
from review_ui.services.now_words import next_words, to_do_words
from review_ui.services.plain_markdown import plain

# Each place's page, and the one that serves where it is missing.
_PAGES: dict[Place, tuple[str, ...]] = {
    "photograph": ("photograph", "photos"),
    "review": ("review",),
    "confirm": ("confirm",),
    "pull": ("pull",),
    "air": ("air",),
    "log": ("log",),
    "hatch": ("hatch",),
    "set": ("set",),
    "batches": ("batches",),
}
_ACT: dict[Place, str] = {
    "photograph": "Photograph",
    "review": "Review",
    "confirm": "Confirm",
    "pull": "Pull list",
    "air": "Air cells",
    "log": "Log",
    "hatch": "Hatch day",
    "set": "Set eggs",
    "batches": "Batches",
}


def show() -> None:
    """The page."""
    st.title("Now")
    frame.show_notice()
    if st.session_state.get("_ask_who") and frame.reviewer() is not None:
        del st.session_state["_ask_who"]
    store = frame.records()
    now = datetime.now(UTC)
    with store.read() as session:
        any_batch = bool(rec.list_batches(session))
        mark = water_mark(session)
        found = what_is_now(
            session,
            now=now,
            water=lambda within, batch, at: _water(
                str(store.folder), batch.id, mark, f"{at:%Y-%m-%d %H}", _session=within, _batch=batch, _at=at
            ),
        )
    for one in found.batches:
        _batch(store, one, now)
    if found.alarms:
        with st.container(border=True, key="machine_alarms"):
            st.subheader("The machines")
            for place, alarm in enumerate(found.alarms):
                _alarm(alarm, key=f"alarm_{place}", batch=None)
    if not found.batches:
        said = (
            "No batch is running." if any_batch else "No batch yet. Eggs that are set together are one batch."
        )
        st.info(said)
    kind: Literal["primary", "secondary"] = "secondary" if found.batches else "primary"
    if st.button("Set eggs", key="to_set", type=kind, width="stretch"):
        st.session_state.pop("_set_eggs", None)  # a new form, not what was said of the last batch
        frame.go("set")
    for drop in standing_now(store).drops:
        st.warning(drop_words(drop))
        frame.link("model", "Model")
    with st.container(border=True, key="model_statement"):
        st.write(SHORT)
        with st.expander("What the model was trained and measured on"):
            for line in statement_lines():
                st.write(line)


@st.cache_data(show_spinner=False, max_entries=60)
def _water(
    folder: str,
    batch_id: int,
    mark: tuple[int, ...],
    hour: str,
    *,
    _session: Session,
    _batch: rec.Batch,
    _at: datetime,
) -> str | None:
    """Whether air cells are off course, worked out anew once something is recorded or an hour has passed."""
    return water_words(_session, _batch, _at)


def _batch(store: rec.Records, one: BatchNow, now: datetime) -> None:
    batch, waiting = one.batch, one.summary
    main = _most_likely(one)
    with st.container(border=True, key=f"now_{batch.id}"):
        day = f"to be set {batch.set_at.astimezone():%A %d %B}" if one.day is None else f"day {one.day}"
        st.subheader(f"{plain(batch.name)}, {day}")
        eggs = "1 egg" if waiting.eggs == 1 else f"{waiting.eggs} eggs"
        coming = next_words(one, now)
        nothing = [] if one.to_do else ["Nothing is due today."]
        st.write(plain(" ".join([f"{eggs} in the machine.", *nothing, *([coming] if coming else [])])))
        for place, thing in enumerate(one.to_do):
            _due(store, thing, key=f"due_{batch.id}_{place}", batch=batch, main=main == thing.place)
        looks: tuple[tuple[Place, int, str], ...] = (
            ("review", waiting.review, "to look at closely"),
            ("confirm", waiting.confirm, "to confirm at a glance"),
        )
        for look, count, words in looks:
            if count:
                _row(
                    f"{count} {words}",
                    f"{_ACT[look]} {count}",
                    look,
                    key=f"look_{look}_{batch.id}",
                    batch=batch,
                    main=main == look,
                )
        for place, alarm in enumerate(one.alarms):
            _alarm(alarm, key=f"alarm_{batch.id}_{place}", batch=batch)


def _due(store: rec.Records, thing: ToDo, *, key: str, batch: rec.Batch, main: bool) -> None:
    kind = thing.due.kind
    if kind in DONE_AT_A_TAP:
        with st.container(horizontal=True, vertical_alignment="center", key=f"row_{key}"):
            st.markdown(plain(to_do_words(thing)), width="stretch")
            st.button("Done", key=key, on_click=_done, args=(store, batch, kind))
    else:
        _row(to_do_words(thing), _ACT[thing.place], thing.place, key=key, batch=batch, main=main)
    if thing.due.caution:
        st.caption(plain(thing.due.caution))


@frame.acting
def _done(store: rec.Records, batch: rec.Batch, kind: str) -> str | None:
    who = frame.remembered("who")
    if not who:  # asked for once, at the top
        st.session_state["_ask_who"] = True
        return None
    return record_done(store, batch, kind, who=who)


def _most_likely(one: BatchNow) -> Place | None:
    """The one thing that gets the big button: to photograph, then to look, then to confirm, then the rest."""
    due = [thing.place for thing in one.to_do if thing.due.kind not in DONE_AT_A_TAP]
    if "photograph" in due:
        return "photograph"
    if one.summary.review:
        return "review"
    if one.summary.confirm:
        return "confirm"
    return due[0] if due else None


def _alarm(alarm: Alarm, *, key: str, batch: rec.Batch | None) -> None:
    """One alarm; a heavy edge and its word tell it from what is merely due."""
    with st.container(key=f"box_{key}"):
        _row(f"Mind: {alarm.text}", _ACT[alarm.place], alarm.place, key=key, batch=batch)


def _row(
    text: str, label: str, place: Place, *, key: str, batch: rec.Batch | None, main: bool = False
) -> None:
    """A sentence and, where its page is there, the button to it; the main one is as wide as the card."""
    page = next((name for name in _PAGES[place] if name in frame.PAGES), None)
    there = page is not None or not frame.PAGES
    if main and there:
        st.write(f"**{plain(text)}**")
        _tap(label, page, key=key, batch=batch, main=True)
        return
    with st.container(horizontal=True, vertical_alignment="center", key=f"row_{key}"):
        st.markdown(plain(text), width="stretch")
        if there:
            _tap(label, page, key=key, batch=batch)


def _tap(label: str, page: str | None, *, key: str, batch: rec.Batch | None, main: bool = False) -> None:
    if st.button(
        label, key=key, type="primary" if main else "secondary", width="stretch" if main else "content"
    ):
        if batch is not None:
            frame.remember("batch", str(batch.id))
        frame.go(page or "")
