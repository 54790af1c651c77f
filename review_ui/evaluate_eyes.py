"""``trayglow evaluate --eyes``: every target set for measuring beside its figure, then the details."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from models.evaluation.target_row import TargetRow
from models.shared_data import RealPhoto


@dataclass(frozen=True)
class Part:
    """What one evaluation found: its rows of the table, and details to print below it."""

    rows: list[TargetRow]
    details: str = ""


Measure = Callable[[tuple[RealPhoto, ...], Executor], Part]


def print_eyes(photos: tuple[RealPhoto, ...]) -> None:
    """Measure everything, from nothing, and print it."""
    from models.evaluation.eye_targets import target_table

    parts = list(measured_parts(photos))
    print(target_table([row for part in parts for row in part.rows]))
    print("\n".join(part.details for part in parts if part.details))


def measured_parts(photos: tuple[RealPhoto, ...]) -> Iterator[Part]:
    """Each evaluation's part, in the order of the table; each runs side by side on all processors."""
    # Fresh processes: a copy of one in which a library has threads of its own may hang.
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        for measure in MEASURES:
            yield measure(photos, pool)


def trays(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Cups, places and sizes of the eggs of drawn trays."""
    from models.evaluation.drawn_trays import TRAYS, drawn_tray
    from models.evaluation.eye_rows import tray_rows

    return Part(tray_rows(list(pool.map(drawn_tray, range(TRAYS)))))


def cards(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Tray cards in drawn photos."""
    from models.evaluation.drawn_cards import CARDS, card_rows, drawn_card

    return Part(card_rows(list(pool.map(drawn_card, range(CARDS)))))


def several(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Several eggs in one photo from the side."""
    from models.evaluation.several_eggs import PHOTOS, several_eggs, several_rows

    return Part(several_rows(list(pool.map(several_eggs, range(PHOTOS)))))


def real_lines(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Air-cell lines on real photos."""
    from models.evaluation.air_cell_lines import line_score
    from models.evaluation.eye_rows import real_line_rows, shape_row
    from models.evaluation.left_out_readings import read_left_out
    from models.evaluation.shipped_air_cells import claimed_in_real_row

    looked_at = [p for p in photos if p.row["air_cell_visible"] in {"0", "1"}]
    readings = list(pool.map(read_left_out, looked_at, chunksize=4))
    return Part([*real_line_rows(line_score(readings)), claimed_in_real_row(readings), shape_row(readings)])


def drawn_lines(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Air-cell lines on drawn eggs."""
    from models.evaluation.drawn_eggs import SINGLE_EGGS, drawn_egg
    from models.evaluation.eye_rows import drawn_line_rows

    return Part(drawn_line_rows(list(pool.map(drawn_egg, range(SINGLE_EGGS)))))


def shipped(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Loose, saddle-shaped and bubbly air cells of drawn eggs."""
    from models.evaluation.shipped_air_cells import shipped_eggs, shipped_rows

    return Part(shipped_rows(shipped_eggs(pool)))


def others(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Air cells of eggs that others' simulator has drawn."""
    from models.evaluation.others_eggs import others_eggs, others_rows

    return Part(others_rows(others_eggs(_shared("simulated_by_others"), pool=pool)))


def end_view(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Air cells of drawn trays, seen from above."""
    from models.evaluation.drawn_end_view import TRAYS, drawn_discs, end_view_rows

    return Part(end_view_rows([disc for tray in pool.map(drawn_discs, range(TRAYS)) for disc in tray]))


def mass_balance(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """The plane cut's volume beside the water lost by day 9."""
    from models.evaluation.eye_rows import mass_balance_row

    return Part([mass_balance_row()])


def drawn_veins(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Veins of drawn eggs, and of drawn eggs that have none."""
    from models.evaluation.drawn_veins import drawn_vein_scores, vein_rows

    return Part(vein_rows(*drawn_vein_scores(pool)))


def answers(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Yes or no to veins and embryo on real photos."""
    from models.evaluation.contents import (
        ANSWERS,
        answer_data,
        answer_table,
        answer_text,
        left_out_probabilities,
        veins_left_out,
    )
    from models.evaluation.eye_rows import answer_row

    rows, details = [], []
    for what, answer in ANSWERS.items():
        if what == "veins":
            data = veins_left_out(photos, pool=pool)
            probability = data.terms[:, 0]
        else:
            data = answer_data(photos, answer.column, answer.terms, pool=pool)
            probability = left_out_probabilities(data, strength=answer.strength)
        table = answer_table(data, probability, yes_above=answer.yes_above)
        rows.append(answer_row(what, table[-1], asked=0.9 if what == "veins" else None))
        details.append(f"Yes or no to {what}, by the evenings left out\n{answer_text(table)}\n")
    return Part(rows, "\n".join(details))


def retina(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Vessels of retinal photographs."""
    from models.evaluation.retinal_vessels import evaluate_retinal_vessels, retinal_rows, retinal_table

    folder = _shared("vessels") / "CHASE_DB1"
    if not folder.is_dir():
        return Part([], f"Retinal vessels: {folder} is not there\n")
    scores = evaluate_retinal_vessels(folder, pool=pool)
    title = "Retinal vessels, never trained or tuned on (CHASE_DB1, first observer)"
    return Part(retinal_rows(scores), f"{title}\n{retinal_table(scores)}\n")


def faults(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Blood rings, embryos and shells of drawn eggs."""
    from models.evaluation.drawn_faults import drawn_fault_scores, fault_rows

    return Part(fault_rows(drawn_fault_scores(pool)))


def quality(photos: tuple[RealPhoto, ...], pool: Executor) -> Part:
    """Photo quality: labelled, spoilt by known amounts, drawn."""
    from models.evaluation.photo_quality import (
        drawn_rows,
        labelled_rows,
        others_row,
        quality_targets,
        quality_text,
        spoilt_rows,
    )

    not_ours = pool.submit(others_row, _shared("simulated_by_others")).result()
    rows = [
        *labelled_rows(photos, pool=pool),
        *spoilt_rows(photos[::SPOILT_EVERY], pool=pool),
        *drawn_rows(pool=pool),
        *([] if not_ours is None else [not_ours]),
    ]
    return Part(quality_targets(rows), quality_text(rows))


# Every so many photos are spoilt, in 15 ways each; all of them take minutes and change no figure by
# more than its interval.
SPOILT_EVERY = 4
MEASURES: tuple[Measure, ...] = (
    trays,
    cards,
    several,
    real_lines,
    drawn_lines,
    shipped,
    end_view,
    others,
    mass_balance,
    drawn_veins,
    faults,
    answers,
    retina,
    quality,
)


def _shared(name: str) -> Path:
    from models.shared_data import shared_folder

    return shared_folder() / name
