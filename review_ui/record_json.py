"""The records as JSON, for scripts: version 1."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from incubation.records import Batch, Call, EggState, Look, Outcome, PullItem, RecordsError, Tray, day_of

RECORDS_SCHEMA = 1

Json = dict[str, Any]


def json_text(document: Json) -> str:
    """A document: pure ASCII, never NaN, its version first."""
    return json.dumps({"schema": RECORDS_SCHEMA, **document}, allow_nan=False, indent=1) + "\n"


def batch_json(batch: Batch, now: datetime) -> Json:
    """A batch, with today's day of incubation (null before setting)."""
    return {
        "name": batch.name,
        "species": batch.species,
        "breeds": list(batch.breeds),
        "set_at": _time(batch.set_at),
        "day": today(batch, now),
        "note": batch.note,
    }


def today(batch: Batch, now: datetime) -> int | None:
    """Day of incubation now; ``None`` before setting."""
    try:
        return day_of(batch, now)
    except RecordsError:
        return None


def tray_json(tray: Tray, states: Sequence[EggState]) -> Json:
    """A tray with its eggs."""
    return {
        "name": tray.name,
        "rows": tray.rows,
        "columns": tray.columns,
        "layout": tray.layout,
        "eggs": [egg_json(state) for state in states if state.egg.tray_id == tray.id],
    }


def egg_json(state: EggState) -> Json:
    """Where an egg stands."""
    egg = state.egg
    return {
        "tray": state.tray.name,
        "cup": egg.cup,
        "breed": egg.breed,
        "source": egg.source,
        "mark": egg.mark,
        "note": egg.note,
        "look": None if state.look is None else look_json(state.look),
        "call": None if state.call is None else _call(state.call),
        "called_since_look": state.called_since_look,
        "outcome": None if state.outcome is None else _outcome(state.outcome),
        "pulled_at": None if state.pulled_at is None else _time(state.pulled_at),
    }


def look_json(look: Look) -> Json:
    """A reading with its proposal; ``measured`` as in the results of ``trayglow examine``."""
    return {
        "day": look.reading.day,
        "photo": look.photo.name,
        "sha256": look.photo.sha256,
        "number": look.reading.number,
        "view": look.reading.view,
        "model": look.reading.model,
        "measured": dict(look.reading.measured),
    }


def pull_json(item: PullItem) -> Json:
    """An egg of the pull list."""
    return {**egg_json(item.state), "caution": item.caution}


def _call(call: Call) -> Json:
    return {
        "status": call.status,
        "who": call.who,
        "at": _time(call.at),
        "proposal_shown": call.proposal_shown,
        "note": call.note,
    }


def _outcome(outcome: Outcome) -> Json:
    return {
        "found": outcome.found,
        "embryo_day": outcome.embryo_day,
        "who": outcome.who,
        "at": _time(outcome.at),
        "note": outcome.note,
    }


def _time(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds")
