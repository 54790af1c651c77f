"""All that is worked out of a batch after its hatch, once for command line, screens and report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zlib import crc32

import numpy as np
from sqlalchemy.orm import Session

from incubation.death_curve import DeathCurve, StageComparison, compare_with_published, death_curve
from incubation.hatch_egg import HatchEgg, LogPoint
from incubation.hatch_rates import HatchRates, StageRanges, hatch_rates, rates_by, usual_ranges
from incubation.records import Batch
from incubation.species import Species, species_named
from incubation.tracing import Tracing, trace_causes
from review_ui.services.hatched_eggs import batch_log_points, hatch_eggs, hatch_is_over


@dataclass(frozen=True)
class HatchReport:
    """What the hatch of a batch, or of several set alike, came to.

    Attributes
    ----------
    batches
        Whose eggs these are.
    over
        Whether the hatch of all of them has ended; until then the rates are those so far.
    curve
        ``None`` where no egg is known to have developed.
    """

    batches: tuple[Batch, ...]
    species: Species
    eggs: tuple[HatchEgg, ...]
    log: tuple[LogPoint, ...]
    ranges: StageRanges
    rates: HatchRates
    curve: DeathCurve | None
    published: tuple[StageComparison, ...]
    tracing: Tracing
    over: bool


def hatch_report(
    session: Session, batches: Sequence[Batch], *, now: datetime, ranges: StageRanges | None = None
) -> HatchReport:
    """Work out the hatch of these batches.

    Parameters
    ----------
    session
        Any session.
    batches
        One, or several of one species whose eggs are to be looked at together.
    now
        The present moment.
    ranges
        Which deaths are early and mid; by default the species' usual ones.

    Raises
    ------
    ValueError
        Where there is none, or they are of several species.
    """
    if len({batch.species for batch in batches}) != 1:
        raise ValueError("eggs of one species at a time: their days do not compare")
    species = species_named(batches[0].species)
    ranges = usual_ranges(species) if ranges is None else ranges
    eggs = tuple(egg for batch in batches for egg in hatch_eggs(session, batch, now=now))
    log = tuple(point for batch in batches for point in batch_log_points(session, batch))
    # The same eggs give the same answer each time it is asked for.
    seed = crc32(repr([(egg.name, egg.fate) for egg in eggs]).encode())
    return HatchReport(
        batches=tuple(batches),
        species=species,
        eggs=eggs,
        log=log,
        ranges=ranges,
        rates=hatch_rates(eggs, ranges=ranges),
        curve=death_curve(eggs, term_days=species.term_days, rng=np.random.default_rng(seed)),
        published=compare_with_published(eggs, ranges=ranges, term_days=species.term_days),
        tracing=trace_causes(eggs, log, species=species, rng=np.random.default_rng(seed), ranges=ranges),
        over=all(hatch_is_over(session, batch, now=now) for batch in batches),
    )


def groups_of(report: HatchReport, grouping: str) -> dict[str, HatchRates]:
    """Rates by breed, pen, shelf and the like; eggs of which it is not known stand for themselves."""
    found = rates_by(report.eggs, grouping, ranges=report.ranges)
    unnamed = "own flock" if grouping == "source" else "not known"
    return {key[0] or unnamed: rates for key, rates in found.items()}
