"""``trayglow batch plan``: how many eggs to set for the chicks one wants, from one's own earlier hatches."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime

from sqlalchemy.orm import Session

from incubation.planning import EarlierHatch, plan_eggs
from incubation.records import list_batches
from incubation.species import SPECIES
from review_ui.errors import UsageError, sentence
from review_ui.record_options import answer, opened
from review_ui.services.hatched_eggs import hatch_eggs, hatch_is_over


def add_plan_action(actions: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this action to ``trayglow batch``."""
    plan = actions.add_parser("plan", help="how many eggs to set for the chicks you want")
    plan.add_argument("chicks", type=int, metavar="CHICKS", help="how many you want")
    plan.add_argument(
        "--species", choices=sorted(SPECIES), default="chicken", metavar="NAME", help="(default: chicken)"
    )
    plan.add_argument("--breed", default="", metavar="NAME", help="only earlier eggs of this breed count")
    plan.add_argument("--shipped", action="store_true", help="only earlier shipped eggs count")
    plan.add_argument("--confidence", type=float, default=0.9, metavar="SHARE", help="(default: 0.9)")
    plan.set_defaults(run=_plan)


def _plan(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.read() as session:
            history = earlier_hatches(
                session, species=options.species, breed=options.breed, shipped=options.shipped or None
            )
        try:
            plan = plan_eggs(history, chicks=options.chicks, confidence=options.confidence)
        except ValueError as error:
            raise UsageError(sentence(error)) from error
        answer(
            options,
            {
                "chicks": plan.chicks,
                "confidence": plan.confidence,
                "eggs": plan.eggs,
                "usual_chicks": plan.usual_chicks and list(plan.usual_chicks),
                "batches": plan.batches,
                "eggs_seen": plan.eggs_seen,
            },
            "\n".join(plan.sentences) + "\n",
        )
    return 0


def earlier_hatches(
    session: Session, *, species: str, breed: str = "", shipped: bool | None = None
) -> tuple[EarlierHatch, ...]:
    """The batches of a species whose hatch is over: eggs set and chicks, of one breed where given."""
    now = datetime.now(UTC)
    found = []
    for batch in list_batches(session):
        if batch.species != species or not hatch_is_over(session, batch, now=now):
            continue
        eggs = [
            egg
            for egg in hatch_eggs(session, batch, now=now, with_water=False)
            if (not breed or egg.breed.casefold() == breed.casefold()) and shipped in (None, egg.shipped)
        ]
        # A batch of which no hatch was ever written down says nothing.
        if eggs and any(egg.fate == "hatched" or egg.died for egg in eggs):
            found.append(EarlierHatch(len(eggs), sum(egg.fate == "hatched" for egg in eggs)))
    return tuple(found)
