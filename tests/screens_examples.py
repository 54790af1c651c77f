"""One page of the screens at a time, for the tests of the screens."""

from __future__ import annotations

from streamlit.testing.v1 import AppTest


def page(name: str, **state: str) -> AppTest:
    """The page's file run alone, with these words in its address."""
    at = AppTest.from_string(
        f"from review_ui.screens import frame, {name}_page\nframe.guarded({name}_page.show)()",
        default_timeout=60,
    )
    at.query_params.update(state)
    return at.run()
