"""The start: what is due today, what waits for a look, what is out of line; one tap to each."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st
from sqlalchemy.orm import Session

from incubation import records as rec
from models.agreement_words import drop_words
from review_ui.screens import frame
from review_ui.screens.standing import standing_now
from review_ui.services.model_statement import SHORT, statement_lines
from review_ui.services.now import Alarm, BatchNow, Place, water_mark, water_words, what_is_now
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
    for place, alarm in enumerate(found.alarms):
        _alarm(alarm, key=f"alarm_{place}", batch=None)
    for one in found.batches:
        _batch(one, now)
    if not found.batches:
        said = (
            "No batch is running." if any_batch else "No batch yet. Eggs that are set together are one batch."
        )
        st.info(said)
    if st.button("Set eggs", key="to_set", type="secondary" if found.batches else "primary"):
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


def _batch(one: BatchNow, now: datetime) -> None:
    batch, waiting = one.batch, one.summary
    with st.container(border=True, key=f"now_{batch.id}"):
        day = f"to be set {batch.set_at.astimezone():%A %d %B}" if one.day is None else f"day {one.day}"
        st.subheader(f"{plain(batch.name)}, {day}")
        main = _most_likely(one)
        eggs = "1 egg" if waiting.eggs == 1 else f"{waiting.eggs} eggs"
        st.caption(f"{eggs} in the machine." if one.day is not None else f"{eggs}.")
        for place, alarm in enumerate(one.alarms):
            _alarm(alarm, key=f"alarm_{batch.id}_{place}", batch=batch)
        for place, thing in enumerate(one.to_do):
            key = f"due_{batch.id}_{place}"
            with st.container(key=f"row_{key}"):
                st.write(f"**{plain(to_do_words(thing))}**")
                _tap(_ACT[thing.place], thing.place, key=key, batch=batch, main=main == thing.place)
                if thing.due.caution:
                    st.caption(plain(thing.due.caution))
        if not one.to_do:
            st.write("Nothing is due today.")
        looks: tuple[tuple[Place, int, str], ...] = (
            ("review", waiting.review, "waits for a closer look"),
            ("confirm", waiting.confirm, "to confirm at a glance"),
        )
        for place_, count, words in looks:
            if count:
                _tap(
                    f"{_ACT[place_]} {count}",
                    place_,
                    key=f"look_{place_}_{batch.id}",
                    batch=batch,
                    main=main == place_,
                    help_=words,
                )
        coming = next_words(one, now)
        if coming is not None:
            st.caption(plain(coming))


def _most_likely(one: BatchNow) -> Place | None:
    """The one thing that gets the big button: to photograph, then to look, then to confirm, then the rest."""
    due = [thing.place for thing in one.to_do]
    if "photograph" in due:
        return "photograph"
    if one.summary.review:
        return "review"
    if one.summary.confirm:
        return "confirm"
    return due[0] if due else None


def _alarm(alarm: Alarm, *, key: str, batch: rec.Batch | None) -> None:
    with st.container(key=f"box_{key}"):
        st.warning(plain(alarm.text))
        _tap(_ACT[alarm.place], alarm.place, key=key, batch=batch)


def _tap(
    label: str,
    place: Place,
    *,
    key: str,
    batch: rec.Batch | None,
    main: bool = False,
    help_: str | None = None,
) -> None:
    """A button to the place's page, where it is there."""
    page = next((name for name in _PAGES[place] if name in frame.PAGES), None)
    if frame.PAGES and page is None:
        return
    if st.button(label, key=key, type="primary" if main else "secondary", width="stretch"):
        if batch is not None:
            frame.remember("batch", str(batch.id))
        frame.go(page or "")
    if help_:
        st.caption(help_)
