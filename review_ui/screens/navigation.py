"""The list of pages."""

from __future__ import annotations

from functools import cache
from importlib import resources

import streamlit as st

from review_ui.screens import (
    add_photos_page,
    air_cells_page,
    batches_page,
    confirm_page,
    cup_walk_page,
    frame,
    hatch_page,
    log_page,
    model_page,
    now_page,
    pull_list_page,
    results_page,
    review_page,
    set_eggs_page,
    tray_map_page,
)


def run() -> None:
    """Draw the page that the person is on."""
    st.set_page_config(page_title="Trayglow", layout="wide", initial_sidebar_state="auto")
    st.html(f"<style>{_styles()}</style>")
    # In the order of the days.
    frame.PAGES.update(
        now=st.Page(frame.guarded(now_page.show), title="Now", url_path="now", default=True),
        set=st.Page(frame.guarded(set_eggs_page.show), title="Set eggs", url_path="set"),
        photos=st.Page(frame.guarded(add_photos_page.show), title="Add photos", url_path="photos"),
        walk=st.Page(frame.guarded(cup_walk_page.show), title="Cup walk", url_path="walk"),
        review=st.Page(frame.guarded(review_page.show), title="Review", url_path="review"),
        confirm=st.Page(frame.guarded(confirm_page.show), title="Confirm", url_path="confirm"),
        tray=st.Page(frame.guarded(tray_map_page.show), title="Tray map", url_path="tray"),
        pull=st.Page(frame.guarded(pull_list_page.show), title="Pull list", url_path="pull"),
        hatch=st.Page(frame.guarded(hatch_page.show), title="Hatch day", url_path="hatch"),
        results=st.Page(frame.guarded(results_page.show), title="Results", url_path="results"),
        air=st.Page(frame.guarded(air_cells_page.show), title="Air cells", url_path="air"),
        log=st.Page(frame.guarded(log_page.show), title="Log", url_path="log"),
        batches=st.Page(frame.guarded(batches_page.show), title="Batches", url_path="batches"),
        model=st.Page(frame.guarded(model_page.show), title="Model", url_path="model"),
    )
    for word in ("batch", "who", "out"):
        frame.remembered(word)  # a page that does not use a word hands it on to the next
    st.navigation(list(frame.PAGES.values()), expanded=True).run()


@cache
def _styles() -> str:
    """The common style, then each page's own."""
    files = [file for file in resources.files("review_ui.screens").iterdir() if file.name.endswith(".css")]
    files.sort(key=lambda file: (file.name != "style.css", file.name))
    return "\n".join(file.read_text("utf-8") for file in files)
