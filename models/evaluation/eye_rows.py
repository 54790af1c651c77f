"""The scores of single evaluations as rows of the table of targets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from incubation.egg_geometry import EggProfile, air_cell_depth_fraction, air_cell_volume_fraction, volume
from models.evaluation.air_cell_lines import ALWAYS_GUESS, LineScore
from models.evaluation.row_text import mean_text, share_text
from models.evaluation.target_row import TargetRow

LAMP_ENDS = ("at the blunt end", "at the pointed end", "at the side", "behind")

if TYPE_CHECKING:
    from models.evaluation.contents import AnswerRow
    from models.evaluation.drawn_eggs import DrawnEgg
    from models.evaluation.drawn_trays import DrawnTray
    from models.evaluation.left_out_readings import LeftOutReading


def real_line_rows(score: LineScore) -> list[TargetRow]:
    """Air-cell lines on real photos, evening left out, against those marked by eye."""
    return [
        TargetRow(
            "real lines: depth, each from its own outline's pole",
            "<= 0.015 of the length",
            f"{score.line_difference:.4f} (bias {score.line_bias:+.4f}; "
            f"always {ALWAYS_GUESS}: {score.guess_difference:.4f})",
            f"{score.found} lines, evening left out",
            score.line_difference <= 0.015,
        ),
        TargetRow(
            "real lines: place in the picture",
            "<= 0.015 of the length",
            f"{score.place_difference:.4f} (bias {score.place_bias:+.4f}; "
            f"always {ALWAYS_GUESS}: {score.guess_difference:.4f})",
            f"{score.found} lines, evening left out",
            score.place_difference <= 0.015,
        ),
        TargetRow(
            "real rim planes: depth against the eye's line, fitted alike",
            "-",
            f"{score.depth_difference:.4f} (bias {score.depth_bias:+.4f}; against the eye's line itself "
            f"{score.plane_from_line:.4f})",
            f"{score.planes} lines, evening left out",
            None,
        ),
        TargetRow(
            "real rim planes: the eye's in the 90 % interval",
            "about 90%",
            share_text(score.plane_held, score.planes),
            f"{score.planes} lines, evening left out",
            about_ninety(score.plane_held, score.planes),
        ),
        TargetRow(
            "real rim planes: the same, the eye's line counted in the outline found",
            "about 90%",
            f"{share_text(score.same_frame_held, score.same_frame_planes)}; planes differ by "
            f"{score.same_frame_difference:.4f}",
            f"{score.same_frame_planes} lines, evening left out",
            about_ninety(score.same_frame_held, score.same_frame_planes),
        ),
        TargetRow(
            "real lines: found where the eye sees one",
            ">= 85%",
            share_text(score.found, score.marked),
            f"{score.marked} photos, evening left out",
            score.found >= 0.85 * score.marked,
        ),
        TargetRow(
            "real lines: claimed where the eye sees none",
            "<= 5%",
            share_text(score.claimed, score.without),
            f"{score.without} photos, evening left out",
            score.claimed <= 0.05 * score.without,
        ),
    ]


def shape_row(readings: Sequence[LeftOutReading]) -> TargetRow:
    """The shape index (100 times breadth over length) of outlines found, against those marked by eye."""
    off = [
        100 * r.outline.breadth_px / r.outline.length_px
        - 100 * float(r.photo.row["minor_px"]) / float(r.photo.row["major_px"])
        for r in readings
        if r.outline is not None and r.photo.outline_known
    ]
    return TargetRow(
        "shell: shape index, found against marked by eye",
        "-",
        f"mean absolute difference {mean_text([abs(o) for o in off])}; bias {float(np.mean(off)):+.2f}",
        f"{len(off)} photos, evening left out",
        None,
    )


def drawn_line_rows(eggs: Sequence[DrawnEgg]) -> list[TargetRow]:
    """Air-cell lines on drawn eggs against the drawn truth."""
    visible = [e for e in eggs if e.line_visible]
    read = [e for e in visible if e.depth_error_mm is not None]
    errors = np.array([e.depth_error_mm for e in read], dtype=float)
    tilts = np.array([e.tilt_error_deg for e in read if e.usual_tilt], dtype=float)
    without = [e for e in eggs if e.line_hidden]
    claimed = sum(e.line_found for e in without)
    near = int((np.abs(errors) <= 1.5).sum())
    level = int((np.abs(tilts) <= 4).sum())
    counted = f"{len(errors)} drawn eggs"
    rows = [
        TargetRow(
            "drawn lines: found where a person could see one",
            ">= 95%",
            share_text(len(read), len(visible)),
            f"{len(visible)} drawn eggs",
            len(read) >= 0.95 * len(visible),
        ),
        TargetRow(
            "drawn lines: claimed where nobody could see one",
            "<= 2%",
            share_text(claimed, len(without)),
            f"{len(without)} drawn eggs",
            claimed <= 0.02 * len(without),
        ),
        TargetRow(
            "drawn lines: mean absolute error",
            "<= 0.6 mm",
            f"{mean_text(np.abs(errors).tolist(), 'mm')}; median {np.median(np.abs(errors)):.2f}"
            if len(errors)
            else "none to count",
            counted,
            bool(len(errors)) and float(np.abs(errors).mean()) <= 0.6,
        ),
        TargetRow(
            "drawn lines: bias",
            "within 0.2 mm",
            mean_text(errors.tolist(), "mm", sign=True),
            counted,
            bool(len(errors)) and abs(float(errors.mean())) <= 0.2,
        ),
        TargetRow(
            "drawn lines: within 1.5 mm",
            ">= 95%",
            share_text(near, len(errors)),
            counted,
            bool(len(errors)) and near >= 0.95 * len(errors),
        ),
        TargetRow(
            "drawn lines: tilt within 4 degrees, loose ones apart",
            ">= 95%",
            f"{share_text(level, len(tilts))}; mean {mean_text(np.abs(tilts).tolist(), 'degrees')}",
            f"{len(tilts)} drawn eggs",
            bool(len(tilts)) and level >= 0.95 * len(tilts),
        ),
    ]
    for place, name in enumerate(("depth", "diameter", "volume", "tilt")):
        held = sum(e.held is not None and e.held[place] for e in read)
        rows.append(
            TargetRow(
                f"drawn air cells: {name} in its 90 % interval",
                "about 90%",
                share_text(held, len(read)),
                counted,
                bool(read) and about_ninety(held, len(read)),
            )
        )
    rows += [_lamp_row(end, [e for e in visible if e.lamp_end == end]) for end in LAMP_ENDS]
    shapes = [abs(e.shape_error) for e in eggs if e.shape_error is not None]
    rows.append(
        TargetRow(
            "shell: shape index",
            "as published classes",
            f"off by {mean_text(shapes, 'points', digits=1)}; a class is 4 wide",
            f"{len(shapes)} drawn eggs, some leaning",
            None,
        )
    )
    return rows


def _lamp_row(end: str, eggs: Sequence[DrawnEgg]) -> TargetRow:
    """One lamp's share of found lines and their mean error, for comparison."""
    errors = [abs(e.depth_error_mm) for e in eggs if e.depth_error_mm is not None]
    found = f"found {share_text(len(errors), len(eggs))}, off by {mean_text(errors, 'mm')}"
    return TargetRow(f"drawn lines, lamp {end}", "-", found, f"{len(eggs)} drawn eggs", None)


def mass_balance_row() -> TargetRow:
    """What the plane cut at the usual day-9 line holds, and how deep the water lost by then would lie.

    A 58 g egg of 57 x 42 mm that loses 0.62 % a day (Aviagen how-to; Ar & Rahn 1980 for 0.993 g/mL).
    """
    egg = EggProfile.from_length_breadth(57.0, 42.0)
    lost_ml = 0.0062 * 9 * 58 / 0.993
    fresh_ml = (0.1, 0.5)
    low, high = (air_cell_depth_fraction((lost_ml + v) * 1000 / volume(egg), egg) for v in fresh_ml)
    held = air_cell_volume_fraction(0.13, egg) * volume(egg) / 1000
    return TargetRow(
        "mass balance: day-9 line at 0.13 of the length",
        "about 3.5 mL",
        f"{held:.1f} mL by plane cut; by day 9 there are {lost_ml + fresh_ml[0]:.1f} to "
        f"{lost_ml + fresh_ml[1]:.1f} mL, as at a depth of {low:.3f} to {high:.3f}",
        "57 x 42 mm, 58 g",
        abs(held - 3.5) <= 0.25,
    )


def about_ninety(held: int, total: int) -> bool:
    """Whether 90 % intervals hold about as many truths as they say: 85 to 97 %, else too narrow or wide."""
    return bool(0.85 * total <= held <= 0.97 * total)


def answer_row(name: str, whole: AnswerRow, *, asked: float | None) -> TargetRow:
    """A yes/no answer against the eye's, evening left out; nothing is asked of it where ``asked`` is None."""
    return TargetRow(
        f"{name}, yes or no: agrees with the eye",
        "-" if asked is None else f">= {asked:.0%}",
        f"{share_text(whole.agree, whole.photos)}; answers {whole.told}, right {whole.told_agree}",
        f"{whole.photos} photos, evening left out",
        None if asked is None else whole.agree >= asked * whole.photos,
    )


def tray_rows(trays: Sequence[DrawnTray]) -> list[TargetRow]:
    """Drawn trays; those whose border nothing in the picture tells are right to be doubted."""
    decided = [t for t in trays if not t.open_border]
    eggs = sum(t.eggs for t in trays)
    right = sum(t.all_right for t in decided)
    centre, radius = sum(t.centre_near for t in trays), sum(t.radius_near for t in trays)
    silent = sum(not t.all_right and not t.doubted for t in trays)
    dark, bright = ([t for t in trays if (t.day >= 16) == late] for late in (True, False))
    found = [(sum(t.right_cup for t in some), sum(t.eggs for t in some)) for some in (dark, bright)]
    return [
        TargetRow(
            "tray: every egg and every empty cup right",
            ">= 99% of trays",
            f"{share_text(right, len(decided))}; wrong without a word {silent}",
            f"{len(decided)} drawn trays",
            right >= 0.99 * len(decided),
        ),
        TargetRow(
            "tray: centre within 3% of the diameter",
            "all eggs",
            share_text(centre, eggs),
            f"{eggs} drawn eggs",
            centre >= 0.99 * eggs,
        ),
        TargetRow(
            "tray: radius within 4% of the diameter",
            "all eggs",
            share_text(radius, eggs),
            f"{eggs} drawn eggs",
            radius >= 0.99 * eggs,
        ),
        TargetRow(
            "tray: a dark egg found as well as a bright one",
            "alike",
            f"dark {share_text(*found[0])}, others {share_text(*found[1])}",
            f"{found[0][1]} and {found[1][1]} drawn eggs",
            found[0][0] * found[1][1] >= 0.99 * found[1][0] * found[0][1],
        ),
    ]
