"""What every page shares: the records, the batch chosen, the reviewer's name, notices and errors."""

from __future__ import annotations

import functools
import logging
from collections.abc import Callable
from typing import Any, ParamSpec

import streamlit as st

from incubation import records as rec
from review_ui.errors import UsageError
from review_ui.services.egg_picture import egg_jpeg
from vision.photo import PhotoError
from vision.reading import View

PAGES: dict[str, Any] = {}  # filled by the list of pages; empty where a page is run alone

P = ParamSpec("P")

_FOR_THE_PERSON = (rec.RecordsError, UsageError, PhotoError)


def guarded(action: Callable[P, None]) -> Callable[P, None]:
    """The same action; what goes wrong becomes a sentence on the page, never a traceback."""

    @functools.wraps(action)
    def safe(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            action(*args, **kwargs)
        except Exception as error:  # noqa: BLE001 (the one place between a fault and the person)
            st.error(sentence_of(error))

    return safe


def acting(action: Callable[P, str | None]) -> Callable[P, None]:
    """For buttons' callbacks: the sentence that the action returns, or its error, is shown next.

    A callback runs, and so writes its record, before anything of the page is drawn anew.
    """

    @functools.wraps(action)
    def safe(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            said = action(*args, **kwargs)
        except Exception as error:  # noqa: BLE001 (as above)
            notice(sentence_of(error), error=True)
        else:
            if said:
                notice(said)

    return safe


def sentence_of(error: Exception) -> str:
    """One sentence for the person; a fault of the program is also logged with all there is."""
    if isinstance(error, _FOR_THE_PERSON):
        return str(error)
    logging.getLogger("trayglow").error("a page failed", exc_info=error)
    text = " ".join(f"{type(error).__name__}: {error}".split())[:200]
    return (
        f"This did not work because of a fault in the program ({text}); nothing recorded is lost. "
        "Please report it."
    )


def notice(text: str, *, error: bool = False) -> None:
    """Keep a sentence for :func:`show_notice`."""
    st.session_state["_notice"] = (text, error)


def show_notice(otherwise: str = "") -> None:
    """Show the sentence left by the last action, once, and without one ``otherwise``."""
    text, error = st.session_state.pop("_notice", ("", False))
    with st.container(key="notice"):
        if text and error:
            st.error(text)
        elif text:
            st.success(text)
        elif otherwise:
            st.caption(otherwise)


def records() -> rec.Records:
    """The records, opened once a server."""
    return _opened(str(rec.default_folder()))


@st.cache_resource(show_spinner=False, on_release=rec.Records.close)
def _opened(folder: str) -> rec.Records:
    return rec.open_records(folder)


def close_records() -> None:
    """Close what :func:`records` opened, as at the end of a server."""
    _opened.clear()


def remembered(name: str) -> str | None:
    """A word of the address that outlives a reload and goes along from page to page."""
    value: str | None = st.session_state.get(f"_{name}") or st.query_params.get(name)
    if value:
        remember(name, value)
    return value


def remember(name: str, value: str | None) -> None:
    """Keep, or with ``None`` forget, a word of the address."""
    if value is None:
        st.session_state.pop(f"_{name}", None)
        if name in st.query_params:
            del st.query_params[name]
        return
    st.session_state[f"_{name}"] = value
    if st.query_params.get(name) != value:
        st.query_params[name] = value


def chosen_batch(store: rec.Records) -> rec.Batch | None:
    """The batch that the page is about, by a choice where there are several; ``None`` says there is none."""
    with store.read() as session:
        batches = rec.list_batches(session)
    if not batches:
        st.info("No batch yet. Make one on the page “Set eggs”.")
        link("set", "Set eggs")
        return None
    wanted = remembered("batch")
    place = next((i for i, batch in enumerate(batches) if str(batch.id) == wanted), 0)
    batch = batches[place]
    if len(batches) > 1:
        names = {one.id: one.name for one in batches}
        chosen = st.selectbox(
            "Batch", list(names), index=place, format_func=names.__getitem__, key=f"batch_choice_{batch.id}"
        )
        batch = next(one for one in batches if one.id == chosen)
    remember("batch", str(batch.id))
    return batch


def chosen_tray(trays: tuple[rec.Tray, ...], *, key: str) -> rec.Tray | None:
    """The tray that the page is about; ``None`` says there is none."""
    if not trays:
        st.info("This batch has no tray yet. Add one on the page “Batches”.")
        link("batches", "Go to Batches")
        return None
    if len(trays) == 1:
        return trays[0]
    names = {one.id: one.name for one in trays}
    chosen = st.selectbox("Tray", list(names), format_func=names.__getitem__, key=key)
    return next(one for one in trays if one.id == chosen)


def reviewer() -> str | None:
    """Who records, asked once; ``None`` while it is not known, with the question on the page."""
    who = (remembered("who") or "").strip()
    if who:
        return who
    with st.form("who_form"):
        st.write("Each call is kept with the name of the person who made it.")
        name = st.text_input("Your name", key="who_name", max_chars=60)
        if st.form_submit_button("Start", type="primary") and name.strip():
            remember("who", name.strip())
            st.rerun()
    return None


def show_reviewer(who: str) -> None:
    """Whose name is recorded, and the way to change it."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.caption(f"Recorded as {who}")
        st.button("Change name", key="change_who", type="tertiary", on_click=remember, args=("who", None))


def link(page: str, label: str) -> None:
    """A link to another page, thumb-sized."""
    if page in PAGES:
        st.page_link(PAGES[page], label=label)


def go(page: str) -> None:
    """Leave for another page."""
    if page in PAGES:
        st.switch_page(PAGES[page])


def look_picture(look: rec.Look, *, layers: tuple[str, ...], side_px: int) -> bytes | None:
    """The egg's picture in a look; ``None``, with a sentence on the page, where the photo is gone."""
    try:
        return _picture(look, layers=layers, side_px=side_px)
    except PhotoError as error:
        st.warning(f"The picture cannot be shown: {error}")
        return None


def _picture(look: rec.Look, *, layers: tuple[str, ...], side_px: int) -> bytes:
    return _cached_picture(look.reading.id, str(look.photo.path), layers, side_px, _look=look)


@st.cache_data(show_spinner=False, max_entries=600)
def _cached_picture(
    reading_id: int, photo: str, layers: tuple[str, ...], side_px: int, *, _look: rec.Look
) -> bytes:
    reading = _look.reading
    view: View = "end" if reading.view == "end" else "side"
    return egg_jpeg(_look.photo.path, reading.measured, view=view, layers=layers, side_px=side_px)
