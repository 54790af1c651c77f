"""How the model in use stands with this person's own eggs: what is earned, and how people agree with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from incubation import records as rec
from models.agreement import (
    Agreement,
    BatchRow,
    Drop,
    OverruleRow,
    between_people,
    dropped,
    opinions_of,
    overrule_table,
    overruled_by_batch,
    with_the_model,
)
from models.earned_bound import Earned, earned
from models.earned_words import percent
from review_ui.errors import UsageError
from review_ui.services.own_model import checked, recorded_name
from review_ui.services.plain_markdown import plain


@dataclass(frozen=True)
class Standing:
    """What the page “Model” says.

    ``own`` is ``None`` for the shipped model; ``trouble`` says why the model's file must not be used.
    """

    name: str
    own: rec.OwnModel | None
    models: tuple[rec.OwnModel, ...]
    trouble: str | None
    living: Earned
    dead: Earned
    drops: tuple[Drop, ...]
    by_batch: tuple[BatchRow, ...]
    by_chance: tuple[OverruleRow, ...]
    with_model: tuple[Agreement, ...]
    between: tuple[Agreement, ...]


def standing_of(store: rec.Records) -> Standing:
    """All of it, from the records."""
    with store.read() as session:
        own, models = rec.chosen_model(session), rec.own_models(session)
        evidence = rec.all_evidence(session)
    trouble = None
    try:
        checked(store, own)
    except UsageError as error:
        trouble = str(error)
    living, dead = earned(evidence, model=recorded_name(own))
    opinions = opinions_of(evidence)
    return Standing(
        name=recorded_name(own),
        own=own,
        models=models,
        trouble=trouble,
        living=living,
        dead=dead,
        drops=dropped(opinions),
        by_batch=overruled_by_batch(opinions),
        by_chance=overrule_table(opinions),
        with_model=with_the_model(opinions),
        between=between_people(opinions),
    )


def confirm_line(living: Earned) -> str:
    """The one line for the page where eggs are confirmed: count and bound."""
    if not living.eggs:
        return (
            "How often it is wrong about a living egg of yours is not known yet: no outcome has been "
            "recorded for an egg that it judged."
        )
    wrong = "none" if not living.errors else str(living.errors)
    line = (
        f"Of {living.eggs} {'egg' if living.eggs == 1 else 'eggs'} of yours known to have been alive, "
        f"{wrong} had been proposed like this: at most {percent(living.bound)} at 95 %."
    )
    if living.unverified:
        line += f" {living.unverified} pulled without being opened could not be counted."
    return line


def agreement_table(rows: Sequence[Agreement]) -> str:
    """Who agrees with whom on looks called blind, as Markdown."""
    return _table(
        ("Called blind", "Agree", "Kappa"),
        [
            (
                f"{one.first}, {one.second}",
                _share(one.agree, one.looks),
                "–" if one.kappa is None else f"{one.kappa:.2f}",
            )
            for one in rows
        ],
    )


def batch_table(rows: Sequence[BatchRow]) -> str:
    """Overruling over time, as Markdown."""
    return _table(
        ("Overruled in", "blind", "in view"),
        [(r.batch, _share(r.blind_overruled, r.blind), _share(r.seen_overruled, r.seen)) for r in rows],
    )


def chance_table(rows: Sequence[OverruleRow]) -> str:
    """Overruling by status and chance, as Markdown."""
    return _table(
        ("Overruled", "Chance, %", "blind", "in view"),
        [
            (
                r.status,
                f"{100 * r.low:.0f}–{100 * r.high:.0f}",
                _share(r.blind_overruled, r.blind),
                _share(r.seen_overruled, r.seen),
            )
            for r in rows
        ],
    )


def left_out_words(figures: Mapping[str, Any]) -> str:
    """What :func:`figures_table` was measured on."""
    by = "batch" if figures["left_out"] == "batch" else "egg (there was only one batch)"
    return f"Each {by} left out in turn; truth: {figures['truth']}."


def figures_table(figures: Mapping[str, Any]) -> str:
    """An own model beside the shipped one, from the ``figures`` of its card, as Markdown."""
    own, shipped = figures["own"], figures["shipped"]

    def both(errors: str, of: str) -> tuple[str, str]:
        first, second = (f"{one[errors]:.0f} of {one[of]:.0f}" for one in (shipped, own))
        return first, second

    rows = [
        ("Living eggs proposed clear or dead", *both("living_confirmed", "living")),
        ("Clear or dead eggs passed", *both("dead_passed", "dead")),
        ("Living eggs that a person must look at", *both("living_looked_at", "living")),
        ("Log loss of the status (lower is better)", f"{shipped['log_loss']:.3f}", f"{own['log_loss']:.3f}"),
    ]
    if own.get("day_error") is not None and shipped.get("day_error") is not None:
        days = (f"{shipped['day_error']:.1f} days", f"{own['day_error']:.1f} days")
        rows.append(("Apparent day, mean error", *days))
    return _table(("On eggs left out", "Shipped", "Own"), rows)


def _share(part: int, whole: int) -> str:
    return f"{part} of {whole}" if whole else "–"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(plain(cell) for cell in line)} |" for line in lines)
