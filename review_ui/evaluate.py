"""``trayglow evaluate``: the figures the project reports, from nothing, on photos left out."""

from __future__ import annotations

import argparse

from models.evaluation.air_cell_lines import ALWAYS_GUESS, LineScore
from models.evaluation.judgement import ConfusionRow, DayErrorRow, DeadAgainstLiving, PassCounts
from models.evaluation.outlines import GOOD_OVERLAP, OverlapRow
from models.heads import STATUSES
from models.shared_data import SharedDataMissingError
from review_ui.errors import UsageError
from review_ui.evaluate_eyes import print_eyes

CREDIT = (
    'Real photos: data set "egg-condition-classifications", version 2023-10-18, provided by a\n'
    "Roboflow user, CC BY 4.0; outlines and lines marked by one annotator."
)


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "evaluate",
        help="measure the program on real photos left out of its training",
        description="Prints how well eggs are found and judged on evenings the networks never saw.",
    )
    parser.add_argument(
        "--eyes",
        action="store_true",
        help="instead, every target set for measuring: trays, air cells, veins, photo quality (minutes)",
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Measure and print; the exit status."""
    from models.evaluation import judgement, outlines
    from models.evaluation.air_cell_lines import line_score
    from models.evaluation.left_out_readings import LEFT_OUT_FOLDER, read_all_left_out
    from models.examples import real_examples
    from models.judge import shipped_heads
    from models.shared_data import real_photos
    from models.training.simulated_examples import kept_examples

    if not LEFT_OUT_FOLDER.is_dir():
        raise UsageError(
            "The left-out networks are not part of the installed program: run this in a checkout."
        )
    try:
        photos = real_photos()
    except SharedDataMissingError as error:
        raise UsageError(f"Nothing to measure on: {error}.") from error
    if options.eyes:
        print(f"{CREDIT}\n")
        print_eyes(photos)
        return 0
    readings = read_all_left_out(photos)
    real = real_examples([r.photo for r in readings], [r.embedding for r in readings])
    answers = judgement.left_out_answers(real, kept_examples())
    print(CREDIT)
    print(f"{len(photos)} photos, an egg found in {sum(r.outline is not None for r in readings)}\n")
    print(overlap_text(outlines.overlap_table(readings)))
    print(line_text(line_score(readings)))
    print(dead_text(judgement.dead_against_living(real, answers)))
    print(confusion_text(judgement.confusion_table(real, answers)))
    card = shipped_heads().card
    counts = judgement.pass_counts(
        real, answers, pass_from=float(card["pass_from"]), temperature=float(card["temperature"])
    )
    print(pass_text(counts))
    print(day_text(judgement.day_error_table(real, answers)))
    return 0


def overlap_text(rows: list[OverlapRow]) -> str:
    """Overlap of outlines by evening."""
    lines = [
        "Finding the egg: intersection over union with the outline marked by eye, evening left out",
        f"{'evening':>9} {'photos':>7} {'median':>7} {'>= ' + str(GOOD_OVERLAP):>8} {'lowest':>7}",
    ]
    lines += [
        f"{r.evening:>9} {r.photos:>7} {r.median:>7.3f} {r.share_good:>8.1%} {r.lowest:>7.3f}" for r in rows
    ]
    return "\n".join(lines) + "\n"


def line_text(score: LineScore) -> str:
    """Air-cell lines against the eye's."""
    return (
        "Air-cell line against the one marked by eye, evening left out\n"
        f"  found in {score.found} of {score.marked} photos where the eye sees one; claimed in "
        f"{score.claimed} of {score.without} where it sees none\n"
        f"  place of the line in the picture, over egg length: mean absolute difference "
        f"{score.place_difference:.4f} (bias {score.place_bias:+.4f})\n"
        f"  depth of the line, each from its own outline's blunt pole: mean absolute difference "
        f"{score.line_difference:.4f} (bias {score.line_bias:+.4f}); "
        f"always answering {ALWAYS_GUESS}: {score.guess_difference:.4f}\n"
        f"  depth of the rim's mean plane: mean absolute difference "
        f"{score.depth_difference:.4f} (bias {score.depth_bias:+.4f}); the eye's in the 90 % interval in "
        f"{score.plane_held} of {score.planes}\n"
    )


def dead_text(roc: DeadAgainstLiving) -> str:
    """Dead against living."""
    return (
        "Dead against living, evening and dead egg left out\n"
        f"  ROC-AUC {roc.auc:.3f} (95 % interval over eggs and evenings {roc.low:.3f} to {roc.high:.3f}); "
        f"{roc.dead_photos} photos of {roc.dead_eggs} dead eggs, {roc.living_photos} photos of living eggs "
        f"on {roc.living_evenings} evenings\n"
        "  So few dead eggs support no claim about dead eggs in general.\n"
    )


def confusion_text(rows: list[ConfusionRow]) -> str:
    """Status by status."""
    lines = [
        "Most probable status, evening and dead egg left out (clear: day-1 and day-2 photos stand in)",
        f"{'true':>12} {'photos':>7} {'eggs':>5} {'evenings':>9} "
        + " ".join(f"{'as ' + s:>15}" for s in STATUSES),
    ]
    lines += [
        f"{r.status:>12} {r.photos:>7} {r.eggs:>5} {r.evenings:>9} "
        + " ".join(f"{r.proposed[s]:>15}" for s in STATUSES)
        for r in rows
    ]
    return "\n".join(lines) + "\n"


def pass_text(counts: PassCounts) -> str:
    """What the operating point of ``pass`` lets by."""
    return (
        f"Passing without a look (chance of developing at least {counts.pass_from:.2f}), "
        "evening and dead egg left out\n"
        f"  dead passed: {counts.dead_passed} of {counts.dead} photos of {counts.dead_eggs} eggs "
        "(the point was chosen on them); "
        f"day-1 and day-2 photos passed: {counts.stand_ins_passed} of {counts.stand_ins}\n"
        f"  living eggs from day 4 that a person must look at: {counts.living_looked_at} of "
        f"{counts.living} photos ({counts.living_looked_at / max(counts.living, 1):.0%})\n"
    )


def day_text(rows: list[DayErrorRow]) -> str:
    """Apparent day by evening."""
    lines = [
        "Apparent day of living eggs, evening left out (days)",
        f"{'evening':>9} {'photos':>7} {'day':>5} {'mean absolute error':>20} {'mean error':>11}",
    ]
    for r in rows:
        day = f"{r.day:.0f}" if r.day == r.day else ""
        lines.append(f"{r.evening:>9} {r.photos:>7} {day:>5} {r.mean_absolute:>20.2f} {r.mean:>+11.2f}")
    lines.append("  (all: evenings weigh alike)")
    return "\n".join(lines) + "\n"
