"""``trayglow examine``: read photos of candled eggs without touching any records."""

from __future__ import annotations

import argparse
import glob
import os
import re
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from tqdm import tqdm

from incubation.species import SPECIES
from review_ui.day_option import DAYS_AFTER_TERM, day_number
from review_ui.errors import UsageError
from review_ui.examine_json import document_text
from review_ui.examine_photo import ExaminedPhoto, PhotoTask, examine_photo
from review_ui.examine_pool import Numbered, Work, cluster_executor, examine_here, examine_on, processor_count
from review_ui.examine_table import table_text
from review_ui.output_files import check_file, check_folder, replaced_file, why
from review_ui.size_options import add_size_options
from vision.photo import printable

ALL_READ, SOME_NOT_READ, NOT_WRITTEN = 0, 1, 2

_PICTURE_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif")

_DESCRIPTION = """\
Reads photos of candled eggs: finds each egg, measures its air cell, veins and embryo, and
proposes a status. Nothing is stored but the files asked for.
"""
_EXIT = """\
exit status: 0 all photos were read; 1 some could not be, each named with its reason;
2 wrong usage, or results could not be written
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "examine",
        help="read photos of candled eggs, without any records",
        description=_DESCRIPTION,
        epilog=_EXIT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "photos",
        nargs="+",
        metavar="PHOTO",
        help="a JPEG, PNG, TIFF, WebP or HEIC file, or a pattern such as *.jpg",
    )
    parser.add_argument(
        "--day",
        type=day_number,
        required=True,
        metavar="D",
        help="day of incubation on the photos; day 0 is the setting",
    )
    parser.add_argument(
        "--species",
        choices=sorted(SPECIES),
        default="chicken",
        metavar="NAME",
        help=f"{', '.join(sorted(SPECIES))} (default: chicken)",
    )
    parser.add_argument(
        "--view",
        choices=("auto", "side", "end"),
        default="auto",
        help="side: the egg lies across the picture; end: a tray from above (default: auto)",
    )
    parser.add_argument(
        "--tray", type=_tray, metavar="ROWSxCOLS", help="cups of the tray in each photo, such as 6x7"
    )
    add_size_options(parser)
    parser.add_argument(
        "--json",
        metavar="FILE",
        help="write everything measured to FILE; - for standard output, without the table",
    )
    parser.add_argument(
        "--masks",
        metavar="DIR",
        help="write each egg's vein and air-cell masks as PNG files of the photo's size",
    )
    parser.add_argument(
        "--overlay", metavar="DIR", help="write each photo with what was measured drawn on it"
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="share the work out over the Dask cluster with this scheduler, such as tcp://192.168.1.5:8786; "
        "its computers must see the photos and folders under the same names",
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace, *, work: Work = examine_photo, model: str | None = None) -> int:
    """Do what was asked; the exit status.

    Parameters
    ----------
    options
        As :func:`add_parser` describes them.
    work
        What examines one photo.
    model
        The model's name for the results; by default the shipped model's.

    Raises
    ------
    UsageError
        For anything wrong that shows before the first photo is read.
    """
    _check_day(options.day, options.species)
    photos = expanded(options.photos)
    _check_outputs(options, photos)
    tasks = _tasks(options, photos)
    if options.cluster is None:
        examined = _in_order(examine_here(work, tasks, processes=processor_count()), len(tasks))
    else:
        with cluster_executor(options.cluster) as executor:
            examined = _in_order(examine_on(executor, work, tasks), len(tasks))

    for one in examined:
        if one.reading.error is not None:
            print(one.reading.error, file=sys.stderr)
        if one.unwritten is not None:
            print(one.unwritten, file=sys.stderr)
    written = not any(one.unwritten for one in examined)
    if options.json is not None:
        written &= _write_json(
            options.json, document_text(model or _own_model(), [one.record for one in examined])
        )
    if options.json != "-":
        sys.stdout.write(table_text(examined, species=options.species))
    if not written:
        return NOT_WRITTEN
    return SOME_NOT_READ if any(one.reading.error is not None for one in examined) else ALL_READ


def expanded(photos: Sequence[str]) -> list[str]:
    """Photo names with patterns replaced by the files they match, in order of name.

    Shells do this on most systems but not on Windows. A name that exists is taken as it is; a
    pattern that matches nothing stays, to be named as not found.
    """
    names: list[str] = []
    for photo in photos:
        found = [photo]
        if glob.has_magic(photo) and not os.path.lexists(photo):
            found = sorted(glob.glob(photo)) or [photo]  # noqa: PTH207 (keeps the names as they were given)
        names += found
    return names


def output_names(photos: Sequence[str]) -> list[str]:
    """What each photo's own files are called: its name without the ending.

    Where two photos would get the same (small and capital letters are the same on some systems),
    their folder's name is put before it, and a number behind it if that is not enough.
    """
    paths = [Path(os.path.abspath(photo)) for photo in photos]  # noqa: PTH100 (links are not followed)
    stems = [path.stem.casefold() for path in paths]
    names: list[str] = []
    taken: set[str] = set()
    for path in paths:
        alone = stems.count(path.stem.casefold()) == 1
        base = path.stem if alone or not path.parent.name else f"{path.parent.name}_{path.stem}"
        name, number = base, 1
        while name.casefold() in taken or (name != path.stem and name.casefold() in stems):
            number += 1
            name = f"{base}-{number}"
        taken.add(name.casefold())
        names.append(name)
    return names


def _tasks(options: argparse.Namespace, photos: Sequence[str]) -> list[PhotoTask]:
    # Another computer of a cluster has another working folder.
    absolute = os.path.abspath if options.cluster is not None else str
    return [
        PhotoTask(
            photo=photo,
            path=absolute(photo),
            day=options.day,
            species=options.species,
            view=options.view,
            tray=options.tray,
            egg_size_mm=options.egg_size,
            card_below_mm=options.card_below,
            output_name=name,
            masks_folder=None if options.masks is None else absolute(options.masks),
            overlay_folder=None if options.overlay is None else absolute(options.overlay),
        )
        for photo, name in zip(photos, output_names(photos), strict=True)
    ]


def _in_order(results: Iterator[Numbered], count: int) -> list[ExaminedPhoto]:
    """Results in the order of the photos, with a progress bar while they come in."""
    bar = tqdm(total=count, unit="photo", file=sys.stderr, disable=not sys.stderr.isatty())
    examined: dict[int, ExaminedPhoto] = {}
    with bar:
        for number, one in results:
            examined[number] = one
            bar.update()
    return [examined[number] for number in range(count)]


def _own_model() -> str:
    from models.judge import MODEL_NAME

    return MODEL_NAME


def _write_json(name: str, text: str) -> bool:
    """Whether it could be written; if not, the person is told."""
    if name == "-":
        sys.stdout.write(text)
        return True
    try:
        with replaced_file(Path(name)) as file:
            file.write(text.encode("ascii"))
    except OSError as error:
        print(f"--json: {printable(name)} could not be written ({why(error)}).", file=sys.stderr)
        return False
    return True


def _check_day(day: float, species: str) -> None:
    last = SPECIES[species].term_days + DAYS_AFTER_TERM
    if day > last:
        raise UsageError(
            f"--day {day:g}: {species} eggs hatch about day {SPECIES[species].term_days}; "
            f"give a day from 0 to {last}, counted from the setting."
        )


def _check_outputs(options: argparse.Namespace, photos: Sequence[str]) -> None:
    if options.json not in (None, "-"):
        path = Path(options.json)
        if path.suffix.lower() in _PICTURE_ENDINGS or _is_among(path, photos):
            # An option without its file name would otherwise swallow, and overwrite, the first photo.
            raise UsageError(
                f"--json: {printable(path)} is a picture; name a file for the results, such as results.json."
            )
        check_file(path, "--json")
    for option, folder in (("--masks", options.masks), ("--overlay", options.overlay)):
        if folder is not None:
            check_folder(Path(folder), option)


def _is_among(path: Path, photos: Sequence[str]) -> bool:
    return os.path.realpath(path) in {os.path.realpath(photo) for photo in photos}


def _tray(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"([1-9][0-9]?)[xX×]([1-9][0-9]?)", text.strip(), re.ASCII)
    if match is None:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not a tray; give its rows and columns (1 to 99 each), such as 6x7"
        )
    return int(match[1]), int(match[2])
