"""How well the yes/no answers on veins and embryo agree with the eye's, by evening left out.

The outline is the one marked by eye and the air cell is cut off where its line was marked, so that
only the answer itself is measured here. On veins the network answers that never saw the evening nor one a day
beside it (:data:`models.folds.VEIN_GROUPS`). Weights of other answers are fitted on all other evenings;
evenings that share eggs (the days ``dia10`` to ``dia12``) or a date are left out together. What the vein map
alone answers is kept for maps without a picture; few of the photos show pencil, hairs or speckles, so it is
also fitted to some drawn eggs with and without veins; these are never counted.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from models.evaluation.drawn_veins import NULLS, Null, developing_egg, null_egg
from models.evaluation.left_out_readings import left_out_presence
from models.folds import vein_fold_of
from models.shared_data import RealPhoto
from models.training.segmentation_targets import AIR_CELL, ellipse_points, real_targets
from vision.embryo import embryo_contrasts
from vision.find_eggs import in_window
from vision.reading import Outline
from vision.veins import network_terms, vein_probability

DrawnAnswers = tuple[NDArray[np.float64], NDArray[np.bool_]]
Features = Callable[[RealPhoto], NDArray[np.float64] | None]
SURE_NO, SURE_YES = 0.4, 0.6
# A little more doubt before yes: half of the drawn clear eggs with a stray hair on them lay in between.
VEIN_SURE_YES = 0.7
VEIN_STRENGTH, EMBRYO_STRENGTH = 0.3, 1.0
EGG_FOLDS = 10
DRAWN_SEED, DRAWN_EACH = 31_415, 8


@dataclass(frozen=True)
class LabelledContents:
    """One real photo cut to its egg: picture, contents without air cell, outline."""

    rgb: NDArray[np.uint8]
    region: NDArray[np.bool_]
    outline: Outline


@dataclass(frozen=True)
class AnswerRow:
    """Agreement on one group of evenings (``all`` for their sum), of the eye's sure answers.

    ``agree`` counts answers on the eye's side of one half, ``told`` those that are given at all
    (not "cannot tell") and ``told_agree`` how many of these agree.
    """

    group: str
    photos: int
    eye_yes: int
    agree: int
    told: int
    told_agree: int


def left_out_group(evening: str) -> str:
    """The group that an evening is left out with."""
    return "dia" if evening.startswith("dia") else evening[:4]


def labelled_outline(photo: RealPhoto) -> Outline:
    """The outline marked by eye, without blunt end."""
    row = photo.row
    return Outline(
        centre_px=(float(row["cx"]), float(row["cy"])),
        length_px=float(row["major_px"]),
        breadth_px=float(row["minor_px"]),
        axis_deg=None,
        long_axis_deg=(float(row["angle"]) + 90) % 180,
        polygon_px=ellipse_points(row),
    )


def labelled_contents(photo: RealPhoto) -> LabelledContents:
    """Cut a photo whose outline was marked to its egg."""
    rgb = np.array(Image.open(photo.path).convert("RGB"))
    outline = labelled_outline(photo)
    targets = real_targets(photo.row, rgb.shape[:2])
    region = (targets[0] == 1) & (targets[AIR_CELL] != 1)
    y, x = np.nonzero(targets[0] == 1)
    top, left = max(int(y.min()) - 4, 0), max(int(x.min()) - 4, 0)
    window = (slice(top, int(y.max()) + 5), slice(left, int(x.max()) + 5))
    moved = in_window(outline, origin_px=(left, top), scale=1.0)
    return LabelledContents(np.ascontiguousarray(rgb[window]), np.ascontiguousarray(region[window]), moved)


def vein_terms(photo: RealPhoto) -> NDArray[np.float64] | None:
    """What the answer on veins weighs, of one photo."""
    cv2.setNumThreads(1)
    contents = labelled_contents(photo)
    probability = vein_probability(contents.rgb, contents.region)
    return network_terms(probability, contents.region, egg_length_px=contents.outline.length_px)


def seen_veins(photo: RealPhoto) -> NDArray[np.float64] | None:
    """Probability of veins, (1,), from the network that never saw this photo's evening."""
    cv2.setNumThreads(1)
    contents = labelled_contents(photo)
    network = left_out_presence(vein_fold_of(photo.evening))
    seen = network.probability(contents.rgb, contents.region, length_px=contents.outline.length_px)
    return None if seen is None else np.array([seen])


def embryo_terms(photo: RealPhoto) -> NDArray[np.float64] | None:
    """What the answer on the embryo weighs, of one photo."""
    cv2.setNumThreads(1)
    contents = labelled_contents(photo)
    return embryo_contrasts(contents.rgb, contents.region, length_px=contents.outline.length_px)


def drawn_vein_terms(kind: Null | Literal["developing"], index: int) -> NDArray[np.float64] | None:
    """What the answer on veins weighs, of one drawn egg; ``None`` of a living one that shows no vein."""
    cv2.setNumThreads(1)
    if kind == "developing":
        egg = developing_egg(index, seed=DRAWN_SEED)
        if not egg.truth.veins_visible:
            return None
    else:
        egg = null_egg(kind, index, seed=DRAWN_SEED)
    probability = vein_probability(egg.rgb, egg.region)
    return network_terms(probability, egg.region, egg_length_px=egg.length_px)


def drawn_vein_answers(pool: Executor | None = None) -> DrawnAnswers:
    """Terms (M, terms) and truths (M,) of drawn eggs: each kind without veins, and living ones."""
    kinds: list[Null | Literal["developing"]] = [kind for kind in NULLS for _ in range(DRAWN_EACH)]
    indices = [*range(DRAWN_EACH)] * len(NULLS) + [*range(2 * DRAWN_EACH)]
    kinds += ["developing"] * (2 * DRAWN_EACH)
    found = list((pool.map if pool else map)(drawn_vein_terms, kinds, indices))
    kept = [
        (terms, kind == "developing") for terms, kind in zip(found, kinds, strict=True) if terms is not None
    ]
    return np.array([terms for terms, _ in kept]), np.array([yes for _, yes in kept])


@dataclass(frozen=True)
class AnswerKind:
    """One yes/no answer: the label's column, what is weighed, how strongly it may be fitted, and above
    which probability yes is said.
    """

    column: str
    terms: Features
    strength: float
    yes_above: float = SURE_YES


ANSWERS = {
    "veins": AnswerKind("vessels_visible", vein_terms, VEIN_STRENGTH, VEIN_SURE_YES),
    "embryo": AnswerKind("embryo_visible", embryo_terms, EMBRYO_STRENGTH),
}


@dataclass(frozen=True)
class AnswerData:
    """Terms (N, terms) and the eye's sure answers (N,) of the photos that have both; ``drawn`` is fitted
    to as well, and never counted.
    """

    photos: tuple[RealPhoto, ...]
    terms: NDArray[np.float64]
    eye: NDArray[np.bool_]
    drawn: DrawnAnswers | None = None

    @property
    def groups(self) -> NDArray[np.str_]:
        """The group each photo is left out with."""
        return np.array([left_out_group(p.evening) for p in self.photos])


def answer_data(
    photos: Sequence[RealPhoto],
    column: str,
    features: Features,
    *,
    pool: Executor | None = None,
    with_drawn: bool = True,
) -> AnswerData:
    """Measure the photos whose outline was marked and on which the eye was sure (``column`` 0 or 1).

    ``with_drawn`` adds the drawn eggs that the answer on veins is also fitted to.
    """
    sure = [p for p in photos if p.outline_known and p.row[column] in {"0", "1"}]
    found = list(pool.map(features, sure, chunksize=4) if pool else map(features, sure))
    kept = [(p, f) for p, f in zip(sure, found, strict=True) if f is not None]
    return AnswerData(
        tuple(p for p, _ in kept),
        np.array([f for _, f in kept]),
        np.array([p.row[column] == "1" for p, _ in kept]),
        drawn_vein_answers(pool) if with_drawn and column == ANSWERS["veins"].column else None,
    )


def fit_answer(
    terms: NDArray[np.float64],
    eye: NDArray[np.bool_],
    *,
    strength: float,
    drawn: DrawnAnswers | None = None,
) -> tuple[NDArray[np.float64], float]:
    """Weights and intercept of a logistic regression, both answers weighted alike.

    ``strength`` is scikit-learn's ``C``: the smaller, the smaller the weights are held. ``drawn`` holds
    further terms and answers to fit to.
    """
    if drawn is not None:
        terms, eye = np.concatenate([terms, drawn[0]]), np.concatenate([eye, drawn[1]])
    model = make_pipeline(StandardScaler(), LogisticRegression(C=strength, class_weight="balanced"))
    model.fit(terms, eye)
    scaler, regression = model[0], model[1]
    weights = regression.coef_[0] / scaler.scale_
    return weights, float(regression.intercept_[0] - weights @ scaler.mean_)


def left_out_probabilities(
    data: AnswerData, *, strength: float, by: Literal["evening", "egg"] = "evening"
) -> NDArray[np.float64]:
    """Probability of yes for each photo, from weights that never saw its evening (or only its egg)."""
    if by == "evening":
        folds = data.groups
    else:
        eggs = np.unique([p.egg or p.name for p in data.photos], return_inverse=True)[1]
        folds = np.array([f"fold {e % EGG_FOLDS}" for e in eggs])
    answers = np.zeros(len(data.eye))
    for fold in np.unique(folds):
        out = folds == fold
        weights, intercept = fit_answer(data.terms[~out], data.eye[~out], strength=strength, drawn=data.drawn)
        answers[out] = 1 / (1 + np.exp(-(data.terms[out] @ weights + intercept)))
    return answers


def veins_left_out(photos: Sequence[RealPhoto], *, pool: Executor | None = None) -> AnswerData:
    """The photos on which the eye was sure; their one term is :func:`seen_veins`."""
    return answer_data(photos, ANSWERS["veins"].column, seen_veins, pool=pool, with_drawn=False)


def answer_table(
    data: AnswerData, probability: NDArray[np.float64], *, yes_above: float = SURE_YES
) -> list[AnswerRow]:
    """One row a group of evenings, then one for all."""
    groups = data.groups
    rows = [
        _row(str(g), probability[groups == g], data.eye[groups == g], yes_above)
        for g in sorted(set(groups.tolist()))
    ]
    return [*rows, _row("all", probability, data.eye, yes_above)]


def answer_text(rows: Sequence[AnswerRow]) -> str:
    """The table as lines of text."""
    return "\n".join(
        f"{row.group:6} {row.photos:4} photos, {row.eye_yes:4} yes: {row.agree / row.photos:6.1%} agree; "
        f"told {row.told:4}, of these {row.told_agree / max(row.told, 1):6.1%} agree"
        for row in rows
    )


def _row(group: str, probability: NDArray[np.float64], eye: NDArray[np.bool_], yes_above: float) -> AnswerRow:
    agree = (probability > 0.5) == eye
    told = (probability < SURE_NO) | (probability > yes_above)
    return AnswerRow(
        group, len(eye), int(eye.sum()), int(agree.sum()), int(told.sum()), int((agree & told).sum())
    )
