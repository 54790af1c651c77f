"""The full history of one egg: from where it came to what hatched or was found, in the order of time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.batch_events import BatchEvent, batch_events
from incubation.records.batches import batch_by_id, tray_by_id
from incubation.records.chicks import Chick, chicks_of
from incubation.records.egg_details import EggDetail, EggOrigin, egg_detail_rows, origin_of
from incubation.records.hatch_baskets import HatchBasket, basket_rows
from incubation.records.lots import EggLot, lot_by_id
from incubation.records.machines import TrayPlace, machine_by_id, tray_places
from incubation.records.rows import Batch, Egg, EggHistory
from incubation.records.states import history_of
from incubation.records.weighings import Weighing, weighings_of


@dataclass(frozen=True)
class StoryStep:
    """One thing that happened: when, of which kind, and a sentence."""

    at: datetime
    kind: str
    text: str


@dataclass(frozen=True)
class EggStory:
    """All that is recorded of one egg and of what was done with it.

    ``details`` and ``basket_rows`` are all rows, replaced ones included; ``tray_weighings`` are
    those of its trays while it lay in them, ``chicks`` those of which it is the egg, or may be by
    their basket. ``steps`` are all in the order of time.
    """

    history: EggHistory
    batch: Batch
    lot: EggLot | None
    origin: EggOrigin | None
    detail: EggDetail | None
    details: tuple[EggDetail, ...]
    tray_places: tuple[TrayPlace, ...]
    weighings: tuple[Weighing, ...]
    tray_weighings: tuple[Weighing, ...]
    basket: HatchBasket | None
    basket_rows: tuple[HatchBasket, ...]
    chicks: tuple[Chick, ...]
    events: tuple[BatchEvent, ...]
    steps: tuple[StoryStep, ...]


def egg_story(session: Session, egg_id: int) -> EggStory:
    """The full history of an egg.

    Raises
    ------
    RecordsError
        Where there is no such egg.
    """
    history = history_of(session, egg_id)
    batch = batch_by_id(session, history.egg.batch_id)
    details = egg_detail_rows(session, egg_id)
    detail = details[-1] if details else None
    lot = lot_by_id(session, detail.lot_id) if detail and detail.lot_id is not None else None
    trays = dict.fromkeys(place.tray_id for place in history.places)
    baskets = basket_rows(session, egg_id)
    basket = baskets[-1] if baskets and baskets[-1].basket else None
    story = EggStory(
        history=history,
        batch=batch,
        lot=lot,
        origin=origin_of(detail, lot) if detail else None,
        detail=detail,
        details=details,
        tray_places=tuple(place for tray_id in trays for place in tray_places(session, tray_id=tray_id)),
        weighings=weighings_of(session, egg_id=egg_id),
        tray_weighings=tuple(
            weighing
            for tray_id in trays
            for weighing in weighings_of(session, tray_id=tray_id)
            if _tray_then(history.places, weighing.at) == tray_id
        ),
        basket=basket,
        basket_rows=baskets,
        chicks=tuple(
            chick
            for chick in chicks_of(session, batch.id)
            if chick.egg_id == egg_id
            or (chick.egg_id is None and basket is not None and chick.basket == basket.basket)
        ),
        events=batch_events(session, batch.id),
        steps=(),
    )
    steps = sorted(_steps(session, story), key=lambda step: step.at)
    return replace(story, steps=tuple(steps))


def _tray_then(places: tuple[Egg, ...], at: datetime) -> int:
    """The tray an egg lay in at a moment; before it was recorded, that of its first row."""
    until = [place for place in places if place.recorded_at <= at]
    return (until[-1] if until else places[0]).tray_id


def _steps(session: Session, story: EggStory) -> Iterator[StoryStep]:
    history, batch = story.history, story.batch
    trays = {key: tray_by_id(session, key).name for key in {place.tray_id for place in history.places}}
    first = history.places[0]
    text = f"Set with batch {batch.name} in cup {first.cup} of tray {trays[first.tray_id]}."
    yield StoryStep(batch.set_at, "set", text)
    for before, place in zip(history.places, history.places[1:], strict=False):
        if (before.tray_id, before.cup) != (place.tray_id, place.cup):
            text = f"Moved from {before.cup} to {place.cup} of tray {trays[place.tray_id]}."
            yield StoryStep(place.recorded_at, "place", text)
        for name in ("breed", "source", "mark", "note"):
            old, new = getattr(before, name), getattr(place, name)
            if old != new:
                text = f"{name.capitalize()} corrected from {old or 'nothing'} to {new or 'nothing'}."
                yield StoryStep(place.recorded_at, "correction", text)
    yield from _origin_steps(story)
    for there in story.tray_places:
        where = "out of any machine"
        if there.machine_id is not None:
            where = f"into {machine_by_id(session, there.machine_id).name}"
            where += "" if there.shelf is None else f", shelf {there.shelf}"
        yield StoryStep(there.at, "tray", f"Tray {trays[there.tray_id]} put {where} ({there.who}).")
    yield from _weighing_steps(story)
    yield from _candling_steps(session, story)
    for event in story.events:
        text = event.note if event.kind == "note" else f"{event.kind.capitalize()}. {event.note}".strip()
        yield StoryStep(event.at, "event", text)
    for row in story.basket_rows:
        text = f"Into basket {row.basket}." if row.basket else "Out of its basket."
        yield StoryStep(row.at, "basket", text)
    for chick in story.chicks:
        name = f"Chick {chick.mark}" if chick.mark else "A chick"
        sure = (
            "hatched."
            if chick.egg_id is not None
            else f"hatched in basket {chick.basket}, of this egg or another."
        )
        yield StoryStep(chick.hatched_at or chick.recorded_at, "chick", f"{name} {sure}")


def _origin_steps(story: EggStory) -> Iterator[StoryStep]:
    lot = story.lot
    if lot is not None and lot.arrived_at is not None:
        yield StoryStep(lot.arrived_at, "lot", f"Arrived with lot {lot.name}.")
    for detail in story.details:
        known = [
            f"{name} {value}"
            for name, value in (
                ("laid", detail.laid_on),
                ("mass", detail.mass_g and f"{detail.mass_g:g} g"),
                ("length", detail.length_mm and f"{detail.length_mm:g} mm"),
                ("breadth", detail.breadth_mm and f"{detail.breadth_mm:g} mm"),
                *((name, getattr(detail, name)) for name in ("pen", "sire", "dam")),
                ("found", ", ".join(detail.findings)),
            )
            if value
        ]
        of = f" of lot {lot.name}" if lot is not None and detail.lot_id == lot.id else ""
        what = f": {'; '.join(known)}" if known else ""
        yield StoryStep(detail.recorded_at, "detail", f"Noted by {detail.who} as an egg{of}{what}.")


def _weighing_steps(story: EggStory) -> Iterator[StoryStep]:
    for weighing in story.weighings:
        yield StoryStep(weighing.at, "weighing", f"Weighed {weighing.net_g:.1f} g ({weighing.who}).")
    for weighing in story.tray_weighings:
        eggs = "" if weighing.eggs_on is None else f" of {weighing.eggs_on} eggs"
        text = f"Its tray weighed {weighing.net_g:.1f} g{eggs} without the tare ({weighing.who})."
        yield StoryStep(weighing.at, "weighing", text)


def _candling_steps(session: Session, story: EggStory) -> Iterator[StoryStep]:
    history = story.history
    for look in history.looks:
        at = story.batch.set_at + timedelta(days=look.reading.day)
        text = (
            f"Candled on day {look.reading.day:g}: proposed as {look.proposal.status}, "
            f"{look.proposal.decision} (photo {look.photo.name})."
        )
        yield StoryStep(at, "candling", text)
    for call in history.calls:
        text = f"Called {call.status} by {call.who}." if call.status else f"Call taken back by {call.who}."
        yield StoryStep(call.at, "call", f"{text} {call.note}".strip())
    pull = tables.pull
    for row in session.execute(
        select(pull).where(pull.c.egg_id == history.egg.id).order_by(pull.c.id)
    ).mappings():
        text = "Pulled" if row["pulled"] else "Not pulled after all"
        yield StoryStep(row["at"], "pull", f"{text} ({row['who']}).")
    for outcome in history.outcomes:
        if outcome.found is None:
            text = f"What was found taken back by {outcome.who}."
        else:
            day = "" if outcome.embryo_day is None else f" of about day {outcome.embryo_day:g}"
            also = f", {', '.join(outcome.signs)}" if outcome.signs else ""
            text = f"Found by {outcome.who}: {outcome.found}{day}{also}. {outcome.note}".strip()
        yield StoryStep(outcome.at, "outcome", text)
