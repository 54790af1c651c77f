"""Fit the shipped judgement heads and write them with their card.

    python -m models.training.fit_judgement

Needs the real photos and the package ``onnx``; takes some minutes. Everything that is chosen is chosen on
answers for left-out evenings and eggs, and the figures in the card are of heads for which it was chosen
without the evening (:mod:`models.evaluation.nested`). ``trayglow evaluate --judgement`` prints them anew.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
from collections.abc import Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import asdict
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np

from models.evaluation.eggs_by_others import others_side_rows
from models.evaluation.evening_alone import evening_alone
from models.evaluation.from_above import drawn_rows, others_rows
from models.evaluation.judged_photos import JudgedPhoto, read_all_judged
from models.evaluation.judgement_figures import examples_of, measure, rounded
from models.evaluation.nested import choose_status, fitted_status
from models.evaluation.nested_day import living_part
from models.evaluation.novelty_checks import novelty_rows
from models.evaluation.whole_judge import CONFIRM_FROM
from models.examples import Examples
from models.heads import STATUSES, StoredHeads, load_heads, save_heads, status_head, with_card
from models.judgement_text import report_text
from models.model_files import write_manifest
from models.shared_data import RealPhoto, real_photos, shared_folder
from models.training.simulated_examples import kept_examples

SHIPPED = Path(__file__).resolve().parents[1] / "shipped" / "judgement.onnx"
CARD = SHIPPED.with_name("judgement_card.md")
FIGURES_START, FIGURES_END = "<!-- figures: start -->", "<!-- figures: end -->"


def all_figures(
    photos: Sequence[JudgedPhoto],
    drawn: Examples,
    heads: StoredHeads,
    *,
    all_photos: Sequence[RealPhoto],
    pool: Executor | None = None,
) -> dict[str, Any]:
    """Figures on photos left out, and of these heads on pictures that were never learnt from."""
    figures = measure(photos, drawn, pool=pool)
    figures["evening_alone"] = evening_alone(examples_of(photos), drawn, heads.card["settings"])
    figures["novelty"] = [asdict(row) for row in novelty_rows(heads, all_photos)]
    above = [*drawn_rows(heads), *others_rows(heads, shared_folder())]
    figures["from_above"] = [asdict(row) for row in above]
    figures["by_others_side"] = [asdict(row) for row in others_side_rows(heads, shared_folder())]
    # As the heads' file gives them back: names in alphabetical order.
    stored: dict[str, Any] = json.loads(json.dumps(rounded(figures), sort_keys=True))
    return stored


def fit(photos: Sequence[JudgedPhoto], drawn: Examples, out: Path) -> StoredHeads:
    """Choose, fit and write the heads, without figures yet."""
    real = examples_of(photos)
    every = np.ones(len(real), bool)
    living = living_part(real, drawn, every)
    choice = choose_status(real, drawn, every, living=living, shown=[p.shown for p in photos])
    matrix, offset = fitted_status(real, drawn, choice)
    status = status_head(choice.basis, matrix, offset)
    counts = {
        "real_photos": {s: sum(t == s for t in real.statuses) for s in STATUSES},
        "dead_eggs": len(np.unique(real.eggs[real.dead])),
        "evenings": len(np.unique(real.groups)),
        "simulated_eggs": len(drawn),
    }
    card = {
        "fitted": datetime.now(UTC).date().isoformat(),
        "code_version": _version(),
        "data": "egg-condition-classifications, version 2023-10-18, CC BY 4.0, and simulated eggs",
        "counts": counts,
        **counts,
        "settings": {
            "strength": choice.strength,
            "drawn_share": choice.drawn_share,
            **{f"day_{k}": v for k, v in asdict(living.settings).items()},
        },
        "pass_from": round(choice.pass_from, 4),
        "confirm_from": CONFIRM_FROM,
        "temperature": round(choice.temperature, 4),
        "day_half_width": round(living.half_width, 2),
        "unlike_from": round(living.unlike_from, 3),
        "no_veins_odds": None if choice.no_veins_odds is None else round(choice.no_veins_odds, 3),
    }
    save_heads(out, status, living.head, temperature=choice.temperature, card=card, known=living.known)
    # Before its checksum is in the list, a new file counts as exchanged and would not be opened.
    if out == SHIPPED:
        write_manifest(out.parent)
    return load_heads(out)


def write_card(path: Path, card: dict[str, Any]) -> None:
    """Put the figures between the marks of the card that people read."""
    text = path.read_text(encoding="utf-8")
    before, rest = text.split(FIGURES_START, 1)
    after = rest.split(FIGURES_END, 1)[1]
    path.write_text(f"{before}{card_block(card)}{after}", encoding="utf-8")


def card_block(card: dict[str, Any]) -> str:
    """The figures as they stand in the card, with their marks."""
    counts, settings = card["counts"], card["settings"]
    real = counts["real_photos"]
    lines = (
        FIGURES_START,
        f"Fitted {card['fitted']} on {sum(real.values())} real photos with a status ({real['developing']} of "
        f"living eggs from day 4 on, {real['early death']} of",
        f"{counts['dead_eggs']} dead eggs, {real['clear']} of days 1 and 2 that stand in for clear) of "
        f"{counts['evenings']} evenings, and {counts['simulated_eggs']} simulated eggs.",
        f"Chosen: C {settings['strength']:g}; day: penalty {settings['day_penalty']:g}, width "
        f"{settings['day_width']:g}, drawn eggs {settings['day_drawn_share']:.0%}.",
        f"Points: pass from {card['pass_from']:.2f}, confirm from {card['confirm_from']:.2f}, "
        f"temperature {card['temperature']:.2f},",
        f"day +- {card['day_half_width']:.1f}, unlike from {card['unlike_from']:.1f}{_veins_point(card)}.",
        "",
        "```",
        report_text(card["figures"]),
        "```",
        FIGURES_END,
    )
    return "\n".join(lines)


def _veins_point(card: dict[str, Any]) -> str:
    odds = card.get("no_veins_odds")
    return "" if odds is None else f", no veins: odds of {odds:.2f}"


def _version() -> str:
    try:
        return version("trayglow")
    except PackageNotFoundError:
        return "checkout"


def main() -> None:
    """Fit, measure and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=SHIPPED)
    options = parser.parse_args()
    labelled = real_photos()
    photos, drawn = read_all_judged(labelled), kept_examples()
    heads = fit(photos, drawn, options.out)
    with ProcessPoolExecutor(mp_context=multiprocessing.get_context("spawn")) as pool:
        figures = all_figures(photos, drawn, heads, all_photos=labelled, pool=pool)
    card = {**heads.card, "figures": figures}
    with_card(options.out, card)
    if options.out == SHIPPED:
        write_manifest(SHIPPED.parent)
        write_card(CARD, card)
    print(report_text(figures))


if __name__ == "__main__":
    main()
