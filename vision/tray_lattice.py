"""The lattice that a tray's eggs lie on: two step vectors, seen in perspective, found from points.

A square and a staggered tray are both plain lattices (every point is ``i`` steps of one vector plus
``j`` of another), so they are found alike: steps are guessed from the differences between
neighbours, grown outwards from the middle of the tray, and fitted by a plane-to-plane projective
map. Which lattice lines are rows is settled in :mod:`vision.tray_grid`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# An egg leans at most about 15 % of the pitch out of its cup's middle; beyond this share of the
# pitch a point is nearer to no cup than to one.
FARTHEST_OFF_CUP = 0.42
_FULL_WEIGHT_WITHIN = 0.15
# Standard deviations that the least-squares fit expects, so that few points do not bend the map:
# of a point about its cup (share of the pitch) ...
_SPREAD_OFF_CUP = 0.08
# ... of the perspective terms (relative change of scale from the middle to the border) ...
_SPREAD_PERSPECTIVE = 0.1
# ... and of a guessed step vector (share of itself; perspective changes it over the tray).
_SPREAD_STEP = 0.12


@dataclass(frozen=True)
class LatticeMap:
    """Projective map from lattice index to picture: ``(linear @ q + shift) / (1 + perspective @ q)``
    with ``q = index - origin``.

    Attributes
    ----------
    linear, shift, perspective, origin
        Shapes (2, 2), (2,), (2,), (2,); pixels, pixels, 1/step, steps.
    """

    linear: FloatArray
    shift: FloatArray
    perspective: FloatArray
    origin: FloatArray

    def to_image(self, index: FloatArray) -> FloatArray:
        """Pixel positions, shape (N, 2), of lattice indices, shape (N, 2)."""
        q = index - self.origin
        scale = 1.0 + q @ self.perspective
        positions: FloatArray = (q @ self.linear.T + self.shift) / scale[:, None]
        return positions

    def to_index(self, points: FloatArray) -> FloatArray:
        """Fractional lattice indices, shape (N, 2), of pixel positions, shape (N, 2)."""
        # p (1 + g.q) = A q + t  is linear in q:  (A - p g') q = p - t
        matrix = self.linear[None] - points[:, :, None] * self.perspective[None, None, :]
        rest = points - self.shift
        det = matrix[:, 0, 0] * matrix[:, 1, 1] - matrix[:, 0, 1] * matrix[:, 1, 0]
        det = np.where(np.abs(det) < 1e-9, 1e-9, det)
        first = (matrix[:, 1, 1] * rest[:, 0] - matrix[:, 0, 1] * rest[:, 1]) / det
        second = (matrix[:, 0, 0] * rest[:, 1] - matrix[:, 1, 0] * rest[:, 0]) / det
        return np.stack([first, second], axis=1) + self.origin

    def steps_at(self, index: FloatArray) -> FloatArray:
        """Step vectors in pixels at lattice indices, shape (N, 2, 2); ``[:, :, k]`` is step k."""
        q = index - self.origin
        scale = 1.0 + q @ self.perspective
        position = (q @ self.linear.T + self.shift) / scale[:, None]
        steps = self.linear[None] - position[:, :, None] * self.perspective
        per_step: FloatArray = steps / scale[:, None, None]
        return per_step

    def pitch_at(self, index: FloatArray) -> FloatArray:
        """Shorter step in pixels at lattice indices, shape (N,)."""
        pitch: FloatArray = np.linalg.norm(self.steps_at(index), axis=1).min(axis=1)
        return pitch


@dataclass(frozen=True)
class Lattice:
    """Points put on a lattice.

    Attributes
    ----------
    map
        From lattice index to picture.
    index
        Lattice index of each point, integers, shape (N, 2); meaningless where not ``on_lattice``.
    off_cup
        Distance of each point from its lattice place, as a share of the pitch there, shape (N,).
    near_place
        Whether the point is near enough to its place to lie in that cup, shape (N,).
    on_lattice
        Whether the point holds a place; at most one point a place, shape (N,).
    """

    map: LatticeMap
    index: IntArray
    off_cup: FloatArray
    near_place: NDArray[np.bool_]
    on_lattice: NDArray[np.bool_]


def fit_lattice_map(
    index: FloatArray, points: FloatArray, *, weights: FloatArray, guess: LatticeMap | None = None
) -> LatticeMap:
    """Weighted least-squares projective map from lattice indices to points.

    The perspective is held near none, and near the steps of ``guess`` if given, as strongly as
    stated by the module's expected spreads: with few points the map stays affine by itself.

    Parameters
    ----------
    index, points
        Lattice indices and pixel positions, both of shape (N, 2).
    weights
        Weight of each point, shape (N,), at least one above 0.
    guess
        A map whose steps at the points' middle are a fair guess.
    """
    origin = np.average(index, axis=0, weights=weights)
    centre = np.average(points, axis=0, weights=weights)
    q = index - origin
    p = points - centre
    reach = max(1.0, float(np.sqrt((weights[:, None] * q**2).sum() / weights.sum())) * 1.5)
    if guess is not None:
        guessed = guess.steps_at(origin[None])[0]
        pitch = float(np.linalg.norm(guessed, axis=0).min())
    else:
        spread_q = float((weights[:, None] * q**2).sum())
        pitch = float(np.sqrt((weights[:, None] * p**2).sum() / max(spread_q, 1e-9)))
    pitch = max(pitch, 1e-6)
    # Unknowns: a11 a12 t1 a21 a22 t2 (in pitches), g1 g2 (times reach).
    p = p / pitch
    prior = np.zeros(8)
    prior_weight = np.array([1e-9] * 6 + [(_SPREAD_OFF_CUP / _SPREAD_PERSPECTIVE) ** 2] * 2)
    if guess is not None:
        prior[[0, 1, 3, 4]] = (guessed / pitch).ravel()
        prior_weight[[0, 1, 3, 4]] = (_SPREAD_OFF_CUP / _SPREAD_STEP) ** 2
    design = np.zeros((len(q), 2, 8))
    design[:, 0, 0:2] = q
    design[:, 0, 2] = 1.0
    design[:, 1, 3:5] = q
    design[:, 1, 5] = 1.0
    design[:, :, 6:8] = -p[:, :, None] * q[:, None, :] / reach
    solution = prior
    scale: FloatArray = np.ones(len(q))
    # The residual of the linear form is (1 + g.q) times the residual in the picture: dividing by
    # the last turn's factor makes the two the same.
    rows = design.reshape(-1, 8)
    for _ in range(3):
        weighted = rows * np.repeat(weights / scale**2, 2)[:, None]
        normal = rows.T @ weighted + np.diag(prior_weight)
        right = weighted.T @ p.ravel() + prior_weight * prior
        solution = np.asarray(np.linalg.solve(normal, right), np.float64)
        scale = np.clip(1.0 + q @ (solution[6:8] / reach), 0.2, 5.0)
    linear = solution[[0, 1, 3, 4]].reshape(2, 2)
    shift = solution[[2, 5]]
    perspective = solution[6:8] / reach
    # Back from centred, scaled pixels: p_full = pitch * p + centre.
    full_linear = pitch * linear + centre[:, None] * perspective[None, :]
    return LatticeMap(full_linear, pitch * shift + centre, perspective, origin)


def _reduced(first: FloatArray, second: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Shortest two steps of the same lattice (Gauss's reduction), the angle between them 60..90."""
    a, b = (first, second) if first @ first <= second @ second else (second, first)
    for _ in range(20):
        b = b - np.round((a @ b) / (a @ a)) * a
        if b @ b >= a @ a:
            break
        a, b = b, a
    return (a, b) if a @ b >= 0 else (a, -b)


def candidate_steps(
    points: FloatArray, *, shortest_px: float, most: int = 4
) -> list[tuple[FloatArray, FloatArray]]:
    """Pairs of step vectors that the differences between neighbouring points speak for, best first.

    Parameters
    ----------
    points
        Pixel positions, shape (N, 2).
    shortest_px
        Differences shorter than this are the same egg seen twice, or noise.
    most
        At most so many pairs.
    """
    differences = (points[:, None, :] - points[None, :, :]).reshape(-1, 2)
    length = np.linalg.norm(differences, axis=1)
    apart = length.reshape(len(points), -1)
    nearest = np.where(apart >= shortest_px, apart, np.inf).min(axis=1)
    if not np.isfinite(nearest).any():
        return []
    unit = float(np.median(nearest[np.isfinite(nearest)]))
    keep = (length >= shortest_px) & (length < 2.6 * unit)
    differences = differences[keep] / unit
    # Density of the differences on a fine grid; both signs are there, so peaks come in pairs.
    bins = 54
    density, _, _ = np.histogram2d(
        differences[:, 0], differences[:, 1], bins=bins, range=[[-2.7, 2.7], [-2.7, 2.7]]
    )
    density = ndimage.gaussian_filter(density, 1.3, mode="constant")
    peak = (density == ndimage.maximum_filter(density, 5)) & (density > 0.15 * density.max())
    where = np.argwhere(peak)
    if len(where) == 0:
        return []
    middle = (where + 0.5) * (5.4 / bins) - 2.7
    half = (middle[:, 0] > 1e-9) | ((np.abs(middle[:, 0]) <= 1e-9) & (middle[:, 1] > 0))
    # Next neighbours make the steps; farther ones are as frequent but spread by perspective.
    far = np.linalg.norm(middle[half], axis=1) > 1.7
    height = density[where[half, 0], where[half, 1]] * np.where(far, 0.5, 1.0)
    order = np.argsort(-height)[:8]
    tree = cKDTree(differences)
    peaks = []
    for spot in middle[half][order]:
        near = tree.query_ball_point(spot, 0.3)
        peaks.append(differences[near].mean(axis=0))
    votes = height[order]
    pairs = sorted(combinations(range(len(peaks)), 2), key=lambda pair: -(votes[pair[0]] + votes[pair[1]]))
    found: list[tuple[FloatArray, FloatArray]] = []
    for i, j in pairs:
        u, v = peaks[i], peaks[j]
        if abs(u[0] * v[1] - u[1] * v[0]) < 0.3 * np.linalg.norm(u) * np.linalg.norm(v):
            continue
        a, b = _reduced(u, v)
        short, long = np.linalg.norm(a), np.linalg.norm(b)
        if short * unit < shortest_px or long > 2.2 * short:
            continue
        if abs(a[0] * b[1] - a[1] * b[0]) < 0.7 * short * long:
            continue
        if not any(_same_lattice(a, b, c, d) for c, d in found):
            found.append((a, b))
    return [(a * unit, b * unit) for a, b in found[:most]]


def _same_lattice(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> bool:
    """Whether steps c, d are whole combinations of a, b and span the same area, roughly."""
    change = np.linalg.solve(np.stack([a, b], axis=1), np.stack([c, d], axis=1))
    whole = np.round(change)
    return bool(np.abs(change - whole).max() < 0.25 and abs(abs(np.linalg.det(whole)) - 1.0) < 0.1)


def _place(lattice_map: LatticeMap, points: FloatArray, farthest: float) -> Lattice:
    """Every point to its nearest lattice place; of several at one place the nearest keeps it."""
    fractional = lattice_map.to_index(points)
    fractional = np.clip(np.nan_to_num(fractional, nan=1e6), -1e6, 1e6)
    index = np.round(fractional)
    beyond_horizon = 1.0 + (index - lattice_map.origin) @ lattice_map.perspective < 0.1
    index = np.where(beyond_horizon[:, None], np.round(lattice_map.origin), index)
    off = np.linalg.norm(lattice_map.to_image(index) - points, axis=1) / lattice_map.pitch_at(index)
    on = (off < farthest) & ~beyond_horizon
    whole = index.astype(np.int64)
    order = np.lexsort((off, whole[:, 1], whole[:, 0]))
    ordered = whole[order]
    repeated = np.zeros(len(points), bool)
    # Points off the lattice come last at their place (largest off), so they cannot push one out.
    repeated[order[1:]] = (ordered[1:] == ordered[:-1]).all(axis=1)
    return Lattice(lattice_map, whole, off, on, on & ~repeated)


def _weights(off_cup: FloatArray) -> FloatArray:
    """Full weight where eggs in cups lie, tapering to none at the farthest."""
    share = np.clip((off_cup - _FULL_WEIGHT_WITHIN) / (FARTHEST_OFF_CUP - _FULL_WEIGHT_WITHIN), 0.0, 1.0)
    return np.maximum((1.0 - share**2) ** 2, 1e-6)


def _grow(points: FloatArray, seed: int, a: FloatArray, b: FloatArray) -> Lattice | None:
    """Grow the lattice from one point outwards, refitting the map at every ring."""
    current = LatticeMap(np.stack([a, b], axis=1), points[seed].astype(float), np.zeros(2), np.zeros(2))
    guess = current
    lattice = _place(current, points, FARTHEST_OFF_CUP)
    ring, used, still = 1.0, 0, 0
    while ring < 64:
        distance = np.abs(lattice.index - np.round(guess.origin)).max(axis=1)
        inside = lattice.on_lattice & (distance <= ring)
        count = int(inside.sum())
        if count >= 3:
            # The guessed steps hold near the seed only: let go once there are points enough.
            current = fit_lattice_map(
                lattice.index[inside].astype(float),
                points[inside],
                weights=_weights(lattice.off_cup[inside]),
                guess=guess if count < 10 else None,
            )
            if not np.isfinite(current.linear).all():
                return None
            lattice = _place(current, points, FARTHEST_OFF_CUP)
        still = still + 1 if count == used and ring > 2 else 0
        if still >= 3:
            break
        used = count
        ring += 1.0
    return lattice if int(lattice.on_lattice.sum()) >= 4 else None


def _refine(points: FloatArray, lattice: Lattice, *, turns: int = 4) -> Lattice:
    """Alternate between fitting the map to all placed points and placing the points anew."""
    for _ in range(turns):
        on = lattice.on_lattice
        if on.sum() < 4:
            return lattice
        fitted = fit_lattice_map(
            lattice.index[on].astype(float), points[on], weights=_weights(lattice.off_cup[on])
        )
        after = _place(fitted, points, FARTHEST_OFF_CUP)
        same = bool((after.on_lattice == on).all() and (after.index[on] == lattice.index[on]).all())
        lattice = after
        if same:
            break
    return lattice


def _support(lattice: Lattice) -> float:
    """How much the points speak for a lattice: near 1 for each that lies in the middle of a place."""
    share = lattice.off_cup[lattice.on_lattice] / FARTHEST_OFF_CUP
    return float((1.0 - share**2).sum())


def find_lattice(
    points: FloatArray, *, egg_radius_px: float, in_cup_plane: NDArray[np.bool_] | None = None
) -> Lattice | None:
    """The lattice most of the points lie on, or ``None`` where there is none to be seen.

    Parameters
    ----------
    points
        Centres of eggs and of empty cups in pixels, shape (N, 2); some may lie anywhere.
    egg_radius_px
        A usual egg's radius; a lattice finer than eggs can lie is not looked for.
    in_cup_plane
        Which points are empty cups, shape (N,): they lie deeper than the eggs' middles, which a
        camera not straight above sees as a common shift. It is found and taken out, so the map is
        the eggs'.

    Notes
    -----
    Steps are tried in the order the neighbours' differences speak for them, each from several
    points near the middle, until one explains nearly all points; else the lattice with the most
    support wins, and among nearly equal ones the coarser, since a finer lattice through the same
    points always fits.
    """
    if len(points) < 4:
        return None
    middle = np.median(points, axis=0)
    seeds = np.argsort(np.linalg.norm(points - middle, axis=1))[:4]
    best: Lattice | None = None
    best_score = -np.inf
    for a, b in candidate_steps(points, shortest_px=1.5 * egg_radius_px):
        cell = abs(a[0] * b[1] - a[1] * b[0])
        for seed in seeds:
            lattice = _grow(points, int(seed), a, b)
            if lattice is None:
                continue
            support = _support(lattice)
            score = support + 0.15 * len(points) * np.log2(cell / egg_radius_px**2)
            if score > best_score:
                best, best_score = lattice, score
            if support > 0.8 * len(points):
                break
        if best is not None and _support(best) > 0.85 * len(points):
            break
    if best is None:
        return None
    best = _refine(points, best)
    if in_cup_plane is None or not in_cup_plane.any():
        return best
    for _ in range(2):
        cups, eggs = in_cup_plane & best.on_lattice, ~in_cup_plane & best.on_lattice
        if cups.sum() < 2 or eggs.sum() < 2:
            break
        off = best.map.to_index(points) - best.index
        shift = np.clip(np.median(off[cups], axis=0) - np.median(off[eggs], axis=0), -0.3, 0.3)
        # The ordinary spread of few points about their cups is no shift.
        shift = shift * cups.sum() / (cups.sum() + 2.0)
        levelled = points.copy()
        levelled[in_cup_plane] = best.map.to_image(best.map.to_index(points[in_cup_plane]) - shift)
        points = levelled
        best = _refine(points, best)
    return best


def finer_lattices(lattice: Lattice, points: FloatArray, *, shortest_px: float) -> list[Lattice]:
    """Lattices twice or four times as fine through the same points, steps not below ``shortest_px``.

    Eggs set in every other cup lie on a coarser lattice than the cups.
    """
    middle = np.median(lattice.index[lattice.on_lattice], axis=0)
    steps = lattice.map.steps_at(middle[None])[0]
    finer = []
    # Columns: the finer steps in terms of the old ones.
    for change in (
        np.array([[0.5, 0.0], [0.0, 1.0]]),
        np.array([[1.0, 0.0], [0.0, 0.5]]),
        np.array([[0.5, 0.5], [0.5, -0.5]]),
        np.array([[0.5, 0.0], [0.0, 0.5]]),
    ):
        if np.linalg.norm(steps @ change, axis=0).min() < shortest_px:
            continue
        back = np.linalg.inv(change)
        old = lattice.map
        fine = LatticeMap(old.linear @ change, old.shift, change.T @ old.perspective, back @ old.origin)
        finer.append(_place(fine, points, FARTHEST_OFF_CUP))
    return finer
