"""Teaches a model from the records: gathers what is known, fits, compares, and adopts or not."""

from __future__ import annotations

import multiprocessing
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import metadata
from typing import Any

import numpy as np
from numpy.typing import NDArray

from incubation.records import (
    EggEvidence,
    Look,
    OwnModel,
    Records,
    all_evidence,
    list_batches,
    looks_of_batch,
)
from incubation.records.own_models import MODEL_FOLDER
from models.backbone import EMBEDDING_SIZE
from models.heads import STATUSES
from models.judge import MODEL_NAME, shipped_heads
from models.lessons import Lesson, lessons_of
from models.own_looks import CACHE_NAME, Progress, look_embeddings
from models.refit import OwnExamples, OwnFit, Points, fit_own
from models.refit_comparison import Comparison, compare
from review_ui.errors import UsageError
from review_ui.examine_photo import prepare_worker
from review_ui.services.own_model import keep_model

FEW_PHOTOS = 8  # so few are opened sooner here than other processes are started

Say = Callable[[str], None]


@dataclass(frozen=True)
class Gathered:
    """What there is to learn from: examples, and how many eggs, looks and batches are behind them."""

    examples: OwnExamples
    counts: Mapping[str, Any]
    problems: tuple[str, ...]


@dataclass(frozen=True)
class Trained:
    """What training came to; ``model`` is ``None`` where the new one was not adopted."""

    comparison: Comparison
    counts: Mapping[str, Any]
    model: OwnModel | None
    problems: tuple[str, ...]


def train(
    records: Records,
    *,
    who: str,
    processes: int = 1,
    progress: Progress | None = None,
    say: Say | None = None,
) -> Trained:
    """Refit to all that is known, compare on batches left out, and adopt what is not worse.

    Parameters
    ----------
    records
        Whose eggs.
    who
        Who trains, for the records.
    processes
        How many photos to open at once.
    progress
        Told how many photos are done, of how many.
    say
        Told what is being done.

    Raises
    ------
    UsageError
        Where nothing is known that teaches.
    """
    say = say or (lambda text: None)
    say("Looking at your eggs' photos ...")
    gathered = gather(records, processes=processes, progress=progress)
    if not len(gathered.examples):
        raise UsageError(
            "There is nothing to learn from yet: record what was found in eggs (hatched, or opened), or call "
            "eggs without the proposal in view, and train again."
        )
    say(f"Fitting and measuring on {gathered.counts['eggs']} eggs ...")
    shipped = shipped_points()
    comparison = compare(gathered.examples, shipped=shipped)
    model = None
    if comparison.adopted:
        fit = fit_own(gathered.examples, shipped=shipped)
        card = own_card(fit, gathered.counts, comparison)
        model = keep_model(records, fit.correction, card=card, who=who, note="trained")
    return Trained(comparison, gathered.counts, model, gathered.problems)


def gather(records: Records, *, processes: int = 1, progress: Progress | None = None) -> Gathered:
    """All lessons with what the shipped model sees in their photos."""
    with records.read() as session:
        evidence = all_evidence(session)
        looks: dict[int, list[Look]] = {}
        for batch in list_batches(session):
            for look in looks_of_batch(session, batch.id):
                looks.setdefault(look.reading.egg_id, []).append(look)
    lessons = [one for egg in evidence for one in lessons_of(egg, looks.get(egg.egg.id, ()))]
    file = records.folder / MODEL_FOLDER / CACHE_NAME
    with _pool(len({one.look.photo.id for one in lessons}), processes) as pool:
        try:
            found, problems = look_embeddings(
                [one.look for one in lessons], file=file, pool=pool, progress=progress
            )
        except BrokenProcessPool as error:
            raise UsageError(
                "A process that reads photos ended, likely for want of memory; close other programs and "
                "train again."
            ) from error
    used = [one for one in lessons if one.look.reading.id in found]
    return Gathered(examples_of(used, found), counts_of(used, evidence), problems)


def examples_of(lessons: Sequence[Lesson], found: Mapping[int, NDArray[np.float32]]) -> OwnExamples:
    """Lessons with their looks' embeddings, by reading, and the shipped model's answers, as arrays."""
    embeddings = np.array([found[one.look.reading.id] for one in lessons], dtype=np.float32)
    embeddings = embeddings.reshape(-1, EMBEDDING_SIZE)
    chance, days = shipped_heads()(embeddings)
    places = [-1 if one.status is None else STATUSES.index(one.status) for one in lessons]
    return OwnExamples(
        embeddings=embeddings,
        chance=chance,
        days=days,
        statuses=np.array(places, dtype=np.int64),
        hen_days=np.array([np.nan if one.hen_day is None else one.hen_day for one in lessons], dtype=float),
        living=np.array([one.living is True for one in lessons], dtype=bool),
        dead=np.array([one.living is False for one in lessons], dtype=bool),
        weights=np.array([one.weight for one in lessons], dtype=float),
        eggs=np.array([one.egg_id for one in lessons], dtype=np.int64),
        batches=np.array([one.batch_id for one in lessons], dtype=np.int64),
        verified=np.array([one.source == "outcome" for one in lessons], dtype=bool),
        trusted=np.array([one.source != "call" for one in lessons], dtype=bool),
    )


def counts_of(lessons: Sequence[Lesson], evidence: Sequence[EggEvidence]) -> dict[str, Any]:
    """How much there was to learn from, for people and for the model's card."""
    source = {one.egg_id: one.source for one in lessons}
    found = {egg.egg.id: egg.outcome.found for egg in evidence if egg.outcome is not None}
    by_source = Counter(source.values())
    outcomes = Counter(found[egg_id] for egg_id, what in source.items() if what == "outcome")
    return {
        "eggs": len(source),
        "looks": len(lessons),
        "batches": len({one.batch_id for one in lessons}),
        "eggs_by_outcome": {str(what): count for what, count in sorted(outcomes.items())},
        "eggs_by_blind_call": by_source["blind call"],
        "eggs_by_call": by_source["call"],
    }


def shipped_points() -> Points:
    """The shipped model's operating points, from its card."""
    card = shipped_heads().card
    return Points(float(card["pass_from"]), float(card["confirm_from"]), float(card["day_half_width"]))


def own_card(fit: OwnFit, counts: Mapping[str, Any], comparison: Comparison) -> dict[str, Any]:
    """What the model's file says of itself, beside all that the shipped one's card says."""
    return {
        **shipped_heads().card,
        "fitted": datetime.now(UTC).date().isoformat(),
        "code_version": _version(),
        "on_top_of": MODEL_NAME,
        "counts": dict(counts),
        "figures": comparison.record(),
        "pass_from": round(fit.points.pass_from, 4),
        "confirm_from": round(fit.points.confirm_from, 4),
        "day_half_width": round(fit.points.day_half_width, 2),
        "temperature": round(fit.correction.temperature, 4),
    }


def counts_words(counts: Mapping[str, Any]) -> str:
    """What was learnt from, in one sentence."""
    parts = [f"{count} {what}" for what, count in counts["eggs_by_outcome"].items()]
    if counts["eggs_by_blind_call"]:
        parts.append(f"{counts['eggs_by_blind_call']} by calls made blind")
    if counts["eggs_by_call"]:
        seen = counts["eggs_by_call"]
        parts.append(f"{seen} by calls made with the proposal in view (a quarter of the weight)")
    size = [
        _counted(counts["eggs"], "egg", "eggs"),
        "in",
        _counted(counts["looks"], "photo", "photos"),
        "of",
        _counted(counts["batches"], "batch", "batches"),
    ]
    return f"{' '.join(size)}: {', '.join(parts)}"


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


@contextmanager
def _pool(photos: int, processes: int) -> Iterator[Executor | None]:
    if photos <= FEW_PHOTOS or processes < 2:
        yield None
        return
    try:
        pool = ProcessPoolExecutor(
            min(processes, photos),
            mp_context=multiprocessing.get_context("spawn"),
            initializer=prepare_worker,
        )
    except (OSError, NotImplementedError, ImportError):  # a system without shared semaphores
        yield None
        return
    with pool:
        yield pool


def _version() -> str:
    try:
        return metadata.version("trayglow")
    except metadata.PackageNotFoundError:
        return "not installed"
