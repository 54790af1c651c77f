"""``trayglow train``: fit the model to your own eggs, list the models, put an earlier one back."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from tqdm import tqdm

from incubation.records import SHIPPED_NAME, OwnModel, all_evidence, chosen_model, own_models
from review_ui.record_options import add_record_options, add_who_option, answer, opened, who

if TYPE_CHECKING:
    from incubation.records import Records
    from review_ui.services.training import Trained

ADOPTED, NOT_ADOPTED = 0, 1

_EXIT = """\
exit status: 0 a new model judges from now on (or what was asked was done); 1 the new one was not
adopted, with the reason; 2 wrong usage, or the records could not be used
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "train",
        help="fit the model to your own eggs; put an earlier model back",
        description="Learns from what was found in your eggs and from your calls, compares the new model "
        "with the shipped one on batches left out, and adopts it only if it makes no more costly errors. "
        "Earlier models are kept.",
        epilog=_EXIT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--list", action="store_true", help="only list the models, and what the one in use has earned"
    )
    what.add_argument(
        "--restore", metavar="NAME", help=f"only put this model back; {SHIPPED_NAME!r} is the shipped one"
    )
    add_who_option(parser)
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Do what was asked; the exit status.

    Raises
    ------
    UsageError
        Where there is nothing to learn from, a model must not be used, or the records fail.
    """
    with opened(options) as records:
        if options.list:
            _list(records, options)
            return ADOPTED
        if options.restore is not None:
            from review_ui.services.own_model import restore_model

            said = restore_model(records, options.restore, who=who(options))
            answer(options, {"said": said, "model": _in_use(records)}, f"{said}\n")
            return ADOPTED
        return _train(records, options)


def _train(records: Records, options: argparse.Namespace) -> int:
    from review_ui.examine_pool import processor_count
    from review_ui.services.training import train

    with tqdm(unit="photo", file=sys.stderr, disable=not sys.stderr.isatty()) as bar:

        def told(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)

        trained = train(
            records,
            who=who(options),
            processes=processor_count(),
            progress=told,
            say=lambda text: print(text, file=sys.stderr),
        )
    for line in trained.problems:
        print(line, file=sys.stderr)
    answer(options, _json(trained) | {"model": _in_use(records)}, _text(trained))
    return NOT_ADOPTED if trained.model is None else ADOPTED


def _list(records: Records, options: argparse.Namespace) -> None:
    from models.earned_bound import earned
    from models.earned_words import promise
    from review_ui.services.own_model import recorded_name

    with records.read() as session:
        models, chosen = own_models(session), chosen_model(session)
        both = earned(all_evidence(session), model=recorded_name(chosen))
    entries: list[OwnModel | None] = [*models, None]
    lines = []
    for model in entries:
        mark = "in use" if model == chosen else ""
        if model is None:
            lines.append(f"{SHIPPED_NAME:<10} {mark:<7} comes with the program")
            continue
        eggs = model.card.get("counts", {}).get("eggs", "?")
        lines.append(
            f"{model.name:<10} {mark:<7} trained {model.recorded_at.astimezone():%Y-%m-%d} by {model.who} "
            f"on {eggs} eggs"
        )
    document = {
        "models": [
            {"name": model.name, "sha256": model.sha256, "in_use": model == chosen, "card": dict(model.card)}
            for model in models
        ],
        "model": SHIPPED_NAME if chosen is None else chosen.name,
        "earned": [
            {
                "error": one.kind,
                "eggs": one.eggs,
                "errors": one.errors,
                "at_most_at_95_percent": one.bound,
                "on_average": one.on_average,
                "unverified": one.unverified,
            }
            for one in both
        ],
    }
    answer(options, document, "\n".join([*lines, "", *map(promise, both), ""]))


def _in_use(records: Records) -> str:
    with records.read() as session:
        chosen = chosen_model(session)
    return SHIPPED_NAME if chosen is None else chosen.name


def _text(trained: Trained) -> str:
    from models.refit_comparison import comparison_table
    from review_ui.services.training import counts_words

    lines = [f"Learnt from {counts_words(trained.counts)}.", "", comparison_table(trained.comparison)]
    if trained.model is None:
        lines.append(
            f"Not adopted: {'; '.join(trained.comparison.reasons)}. The model that judged so far goes on."
        )
    else:
        lines.append(
            f"Adopted as {trained.model.name}: it judges from now on. The one before is kept; to put the "
            f"shipped one back: trayglow train --restore {SHIPPED_NAME}"
        )
    return "\n".join([*lines, ""])


def _json(trained: Trained) -> dict[str, Any]:
    comparison = trained.comparison
    return {
        "adopted": trained.model is not None,
        "reasons": list(comparison.reasons),
        "counts": dict(trained.counts),
        "own": dict(comparison.own.record()),
        "shipped": dict(comparison.shipped.record()),
        "left_out": comparison.left_out,
        "truth": comparison.truth,
        "problems": list(trained.problems),
    }
