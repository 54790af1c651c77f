"""How the model stands, worked out once for each state of the records."""

from __future__ import annotations

import streamlit as st

from incubation import records as rec
from review_ui.services.model_standing import Standing, standing_of


def standing_now(store: rec.Records) -> Standing:
    """As :func:`review_ui.services.model_standing.standing_of`, kept until something is recorded."""
    with store.read() as session:
        mark = (*rec.evidence_mark(session), len(rec.model_choices(session)))
    return _standing(str(store.folder), mark, _store=store)


@st.cache_data(show_spinner=False, max_entries=4)
def _standing(folder: str, mark: tuple[int, ...], *, _store: rec.Records) -> Standing:
    return standing_of(_store)
