"""What one egg's window shows besides air cell, veins and embryo: blood ring and shell, in photo pixels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.blood_ring import measure_blood_ring
from vision.reading import BloodRing, LookHere, Outline, Shell, Veins
from vision.shell_faults import shell_faults


def ring_and_shell(
    image_rgb: NDArray[np.uint8],
    region: NDArray[np.bool_],
    probability: NDArray[np.floating],
    *,
    outline: Outline,
    veins: Veins,
    origin_px: tuple[float, float],
    scale: float,
) -> tuple[BloodRing | None, Shell]:
    """Look for a blood ring and for faults of the shell of an egg seen from the side.

    Parameters
    ----------
    image_rgb, region, probability
        The window, the egg's contents in it and its probability of veins, (H, W, ...).
    outline, veins
        In the window's pixels; what was measured of the veins.
    origin_px, scale
        Photo pixel of the window's first, and photo pixels to one of the window's.

    Returns
    -------
    tuple
        The ring or ``None``, and the shell, both in photo pixels.
    """
    corner = np.array(origin_px)
    ring = measure_blood_ring(image_rgb, region, probability, outline=outline)
    if ring is not None:
        centre = np.array(ring.centre_px) * scale + corner
        ring = replace(ring, centre_px=(float(centre[0]), float(centre[1])))
    places = shell_faults(image_rgb, region, outline=outline, quiet=veins.visible is False)
    look_here = tuple(LookHere(p.what, p.boundary_px * scale + corner) for p in places)
    return ring, Shell(100 * outline.breadth_px / outline.length_px, look_here)
