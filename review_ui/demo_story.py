"""Plays the demo's scenario into records: its tray, its days of candling, a few calls.

Everything is examined and stored as for a person's own photos; only the pictures are simulated.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib import resources
from pathlib import Path
from typing import Any

from incubation import records as rec
from review_ui.candling import (
    Progress,
    examine_photos,
    match_cups,
    match_tray_photos,
    store_matching,
)
from review_ui.errors import UsageError
from review_ui.services.review_queue import confirm_sheet, review_queue

REVIEWER = "demo"
TODAY = 14  # day of incubation on which the demo stands
_SINCE_TODAY_BEGAN = timedelta(hours=2)

# What the made-up reviewer said, by day and cup. On day 7 the eggs were left in the tray to be seen again.
CALLS: dict[int, dict[str, str]] = {
    7: {"A3": "clear", "E4": "clear", "A5": "developing", "B4": "developing", "D3": "developing"},
    14: {"B5": "clear", "C2": "early death"},
}


@dataclass(frozen=True)
class DayCounts:
    """One day's proposals, counted, and against what the simulator drew.

    ``right``: the proposed status is the true one. ``passed_wrongly``: passed though nothing lives
    in it. ``confirm_alive``: alive, but to be confirmed as clear or dead.
    """

    day: int
    eggs: int
    decisions: Mapping[str, int]
    alive: int
    right: int
    passed_wrongly: int
    confirm_alive: int


@dataclass(frozen=True)
class DemoSummary:
    """How the demo's records stand."""

    batch: str
    eggs: int
    days: tuple[DayCounts, ...]
    calls: int
    review: tuple[str, ...]  # cups
    confirm: tuple[str, ...]
    pull: tuple[str, ...]
    look_again: tuple[str, ...]  # of those to be pulled, photographed since they were called


def story() -> dict[str, Any]:
    """The scenario and what is true on each picture, as the simulator left it."""
    try:
        text = (pictures() / "truth.json").read_text(encoding="utf-8")
    except OSError as error:
        raise UsageError(
            f"The demo's pictures are not installed ({pictures()}): install Trayglow again."
        ) from error
    told: dict[str, Any] = json.loads(text)
    return told


def pictures() -> Path:
    """The folder of the demo's pictures."""
    return Path(str(resources.files("sample_images"))) / "demo"


def play(
    records: rec.Records,
    told: Mapping[str, Any],
    *,
    now: datetime,
    processes: int | None = None,
    progress: Progress | None = None,
) -> tuple[str, ...]:
    """Store the batch, examine the photos of every day, make the calls.

    Parameters
    ----------
    records
        Empty records.
    told
        From :func:`story`.
    now
        This moment; the eggs were set a little over :data:`TODAY` days before.
    processes, progress
        As for :func:`review_ui.candling.examine_photos`; progress counts all photos.

    Returns
    -------
    Sentences about whatever did not go as it should.
    """
    set_at = now - timedelta(days=TODAY) - _SINCE_TODAY_BEGAN
    batch, tray = _set_up(records, told, set_at)
    with records.read() as session:
        eggs = rec.eggs_of(session, tray_id=tray.id)
    days = sorted({photo["day"] for photo in told["photos"]})
    done, remarks = 0, []
    for day in days:
        photos = [photo for photo in told["photos"] if photo["day"] == day]
        single = photos[0]["view"] == "side"
        before = done

        def count(number: int, _total: int, name: str, before: int = before) -> None:
            if progress is not None:
                progress(before + number, len(told["photos"]), name)

        files = examine_photos(
            [pictures() / photo["photo"] for photo in photos],
            names=[photo["photo"] for photo in photos],
            day=day,
            species=batch.species,
            tray=None if single else (tray.rows, tray.columns),
            processes=processes,
            progress=count,
        )
        done += len(files)
        if single:
            matching = match_cups(files, eggs=eggs, cups=[photo["eggs"][0]["cup"] for photo in photos])
        else:
            matching = match_tray_photos(files, eggs=eggs)
        stored = store_matching(records, matching, day=day)
        remarks += [*(unread.error for unread in matching.unread), *matching.problems, *stored.problems]
        _call(records, eggs, day, at=set_at + timedelta(days=day, hours=1))
    return tuple(remarks)


def summarise(records: rec.Records, told: Mapping[str, Any]) -> DemoSummary:
    """How the records stand, and the proposals against what the simulator drew."""
    with records.read() as session:
        batch = rec.batch_by_name(session, told["batch"])
        states = rec.egg_states(session, batch.id)
        days = tuple(
            _counted(told, day, states, rec.looks_on(session, batch.id, day))
            for day in rec.days_read(session, batch.id)
        )
        calls = sum(len(rec.calls_of(session, state.egg.id)) for state in states)
        items = rec.pull_list(session, batch.id)
    sheet = [state.egg.cup for state in confirm_sheet(states)]
    return DemoSummary(
        batch=batch.name,
        eggs=len(states),
        days=days,
        calls=calls,
        review=tuple(state.egg.cup for state in review_queue(states) if state.egg.cup not in sheet),
        confirm=tuple(sheet),
        pull=tuple(item.state.egg.cup for item in items),
        look_again=tuple(item.state.egg.cup for item in items if item.caution is not None),
    )


def _set_up(records: rec.Records, told: Mapping[str, Any], set_at: datetime) -> tuple[rec.Batch, rec.Tray]:
    with records.write() as session:
        batch = rec.new_batch(
            session,
            name=told["batch"],
            species="chicken",
            breeds=tuple(dict.fromkeys(egg["breed"] for egg in told["eggs"])),
            set_at=set_at,
            note="Made up for the demo; the pictures are simulated.",
        )
        about = told["tray"]
        tray = rec.add_tray(
            session, batch.id, name=about["name"], rows=about["rows"], columns=about["columns"]
        )
        rec.add_eggs(
            session,
            tray.id,
            {egg["cup"]: rec.NewEgg(breed=egg["breed"], source=egg["source"]) for egg in told["eggs"]},
        )
    return batch, tray


def _call(records: rec.Records, eggs: Sequence[rec.Egg], day: int, *, at: datetime) -> None:
    """The reviewer's calls of a day, each with the proposal in view."""
    by_cup = {egg.cup: egg for egg in eggs}
    with records.write() as session:
        looks = rec.latest_looks(session, eggs[0].batch_id)
        for cup, status in CALLS.get(day, {}).items():
            look = looks.get(by_cup[cup].id)
            rec.add_call(
                session,
                by_cup[cup].id,
                status,
                who=REVIEWER,
                proposal_id=None if look is None else look.proposal.id,
                proposal_shown=look is not None,
                at=at,
            )


def _counted(
    told: Mapping[str, Any], day: int, states: Sequence[rec.EggState], looks: Mapping[int, rec.Look]
) -> DayCounts:
    truth = {
        egg["cup"]: egg["status"] for photo in told["photos"] if photo["day"] == day for egg in photo["eggs"]
    }
    pairs = [
        (truth[state.egg.cup], looks[state.egg.id].proposal) for state in states if state.egg.id in looks
    ]
    return DayCounts(
        day=day,
        eggs=len(pairs),
        decisions={name: sum(proposal.decision == name for _, proposal in pairs) for name in rec.DECISIONS},
        alive=sum(true == "developing" for true, _ in pairs),
        right=sum(true == proposal.status for true, proposal in pairs),
        passed_wrongly=sum(true != "developing" and one.decision == "pass" for true, one in pairs),
        confirm_alive=sum(true == "developing" and one.decision == "confirm" for true, one in pairs),
    )
