"""What is asked for often is found by an index: no query walks through a whole table that grows."""

from __future__ import annotations

import re
import sqlite3

import pytest
from records_examples import SET_AT, whole_batch
from sqlalchemy import event

from incubation import records as rec

GROWING = {
    "log_entry",
    "weighing",
    "egg",
    "egg_detail",
    "reading",
    "call",
    "chick",
    "tray_place",
    "hatch_basket",
}

ASKED = {
    "a day of a log": lambda s: rec.log_entries(s, 1, since=SET_AT, until=SET_AT),
    "the newest line of a log": lambda s: rec.last_log_entry(s, 1),
    "an import": lambda s: rec.entries_of_import(s, 1),
    "weighings of a tray": lambda s: rec.weighings_of(s, tray_id=1),
    "weighings of an egg": lambda s: rec.weighings_of(s, egg_id=1),
    "weighings of a batch": lambda s: rec.weighings_of(s, batch_id=1),
    "an egg": lambda s: rec.egg_by_id(s, 1),
    "what is known of an egg": lambda s: rec.egg_detail_of(s, 1),
    "what is known of a batch's eggs": lambda s: rec.egg_details_of(s, 1),
    "a tray's places": lambda s: rec.tray_places(s, tray_id=1),
    "an egg's basket": lambda s: rec.basket_of(s, 1),
    "a batch's chicks": lambda s: rec.chicks_of(s, 1),
    "a batch's events": lambda s: rec.batch_events(s, 1),
    "an instrument's checks": lambda s: rec.instrument_checks(s, 1),
    "an egg's calls": lambda s: rec.calls_of(s, 1),
    "an egg's looks": lambda s: rec.looks_of(s, 1),
}


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    with rec.open_records(tmp_path_factory.mktemp("data")) as opened:
        whole_batch(opened)
        yield opened


@pytest.mark.parametrize("asked", ASKED)
def test_no_growing_table_is_walked_through(records, asked):
    """Asked of SQLite itself, with its own explanation of each query."""
    statements = []

    def note(connection, cursor, statement, parameters, context, many):
        statements.append((statement, parameters))

    event.listen(records.engine, "before_cursor_execute", note)
    try:
        with records.read() as session:
            ASKED[asked](session)
    finally:
        event.remove(records.engine, "before_cursor_execute", note)
    raw = sqlite3.connect(records.folder / "trayglow.sqlite3")
    assert statements
    for statement, parameters in statements:
        if not statement.lstrip().startswith("SELECT"):
            continue
        for *_, step in raw.execute(f"EXPLAIN QUERY PLAN {statement}", parameters):
            words = step.split()
            walked = words[0] == "SCAN" and re.sub(r"_\d+$", "", words[1]) in GROWING and "USING" not in words
            assert not walked, f"{step}: {statement}"
    raw.close()
