"""The options that give photos their millimetres, the same for ``examine`` and ``candle``."""

from __future__ import annotations

import argparse
import re

# Quail eggs are about 30 mm long and goose eggs about 90 (common practice); with room either way.
_SMALLEST_MM, _LARGEST_MM = 10.0, 150.0
_FARTHEST_MM = 100.0


def add_size_options(parser: argparse.ArgumentParser) -> None:
    """Add ``--egg-size`` and ``--card-below``."""
    parser.add_argument(
        "--egg-size",
        type=egg_size,
        metavar="LENGTHxBREADTH",
        help="mean size of the eggs in the photo in mm, such as 57x43: gives sizes in mm without a tray card",
    )
    parser.add_argument(
        "--card-below",
        type=_millimetres,
        default=0.0,
        metavar="MM",
        help="how far below the eggs' widest place the tray card lies (default 0: level with it)",
    )


def egg_size(text: str) -> tuple[float, float]:
    """Length and breadth in mm, the longer first."""
    match = re.fullmatch(
        r"([0-9]{1,3}(?:\.[0-9]+)?)\s*[xX×]\s*([0-9]{1,3}(?:\.[0-9]+)?)", text.strip(), re.ASCII
    )
    if match is None:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not a size; give the eggs' mean length and breadth in mm, such as 57x43"
        )
    length, breadth = float(match[1]), float(match[2])
    if not (_SMALLEST_MM <= breadth <= length <= _LARGEST_MM):
        raise argparse.ArgumentTypeError(
            f"{text!r}: give the length first, then the breadth, each {_SMALLEST_MM:g} to {_LARGEST_MM:g} mm"
        )
    return length, breadth


def _millimetres(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) <= _FARTHEST_MM:
        raise argparse.ArgumentTypeError(f"{text!r} is not from -{_FARTHEST_MM:g} to {_FARTHEST_MM:g} mm")
    return value
