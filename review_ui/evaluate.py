"""``trayglow evaluate``: the figures the project reports, from nothing, on photos left out."""

from __future__ import annotations

import argparse

from models.evaluation.air_cell_lines import ALWAYS_GUESS, LineScore
from models.evaluation.outlines import GOOD_OVERLAP, OverlapRow
from models.shared_data import SharedDataMissingError
from review_ui.errors import UsageError
from review_ui.evaluate_eyes import print_eyes
from review_ui.evaluate_judgement import print_judgement

CREDIT = (
    'Real photos: data set "egg-condition-classifications", version 2023-10-18, provided by a\n'
    "Roboflow user, CC BY 4.0; outlines and lines marked by one annotator."
)


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "evaluate",
        help="measure the program on real photos left out of its training",
        description="Prints how well eggs are found, measured or judged on evenings the networks never saw.",
    )
    parser.add_argument(
        "--eyes",
        action="store_true",
        help="instead, every target set for measuring: trays, air cells, veins, photo quality (minutes)",
    )
    parser.add_argument(
        "--judgement",
        action="store_true",
        help="instead, how eggs are judged: dead and living, days, decisions, doubt (about five minutes)",
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Measure and print; the exit status."""
    from models.evaluation import outlines
    from models.evaluation.air_cell_lines import line_score
    from models.evaluation.left_out_readings import LEFT_OUT_FOLDER, read_all_left_out
    from models.shared_data import real_photos

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
    if options.judgement:
        print(f"{CREDIT}\n")
        print_judgement(photos)
        return 0
    readings = read_all_left_out(photos)
    print(CREDIT)
    print(f"{len(photos)} photos, an egg found in {sum(r.outline is not None for r in readings)}\n")
    print(overlap_text(outlines.overlap_table(readings)))
    print(line_text(line_score(readings)))
    print("How eggs are judged: trayglow evaluate --judgement")
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
