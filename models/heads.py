"""The small linear heads on top of the embedding: status and apparent day, fitted and stored.

Both are regularised linear models in the leading directions of the 1280-value embedding: with a few
hundred photos of a few dozen eggs nothing larger can be justified. What an embedding has outside those
directions says how unlike the examples an egg is. All are stored as one ONNX file with their card
(counts, figures, thresholds) inside, so nothing is ever unpickled.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import onnxruntime
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression

from models.basis import Basis, fit_basis
from models.novelty import KnownLooks
from models.proposal import Status
from vision.onnx_session import single_thread_session

FloatArray = NDArray[np.float64]
STATUSES: tuple[Status, ...] = ("clear", "early death", "developing")
# The defaults; what ships is chosen on evenings left out (models.evaluation.nested).
STATUS_STRENGTH = 0.01
DAY_PENALTY = 1000.0
MOST_STEPS, NEAR_ENOUGH = 400, 1e-3  # of the logistic fit


@dataclass(frozen=True)
class LinearHead:
    """``answers = (embedding - mean) / scale @ weights + offset``; shapes (D,), (D,), (D, K), (K,)."""

    mean: FloatArray
    scale: FloatArray
    weights: FloatArray
    offset: FloatArray

    def __call__(self, embeddings: NDArray[np.floating]) -> FloatArray:
        """Answers, shape (N, K), for embeddings of shape (N, D)."""
        standard = (np.asarray(embeddings, dtype=np.float64) - self.mean) / self.scale
        return np.asarray(standard @ self.weights + self.offset, dtype=np.float64)

    def folded(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """One matrix (D, K) and one offset (K,) that do the same to the raw embedding."""
        matrix = self.weights / self.scale[:, None]
        return matrix.astype(np.float32), (self.offset - self.mean @ matrix).astype(np.float32)


def fit_status_head(
    embeddings: NDArray[np.floating],
    statuses: Sequence[str],
    weights: FloatArray,
    *,
    strength: float = STATUS_STRENGTH,
    basis: Basis | None = None,
) -> LinearHead:
    """Multinomial logistic regression; its softmax gives the probabilities of :data:`STATUSES`.

    Parameters
    ----------
    embeddings, statuses, weights
        Examples, (N, D), N, (N,).
    strength
        scikit-learn's ``C``: the smaller, the smaller the weights are held.
    basis
        The directions to fit in; by default those of the examples themselves.

    Raises
    ------
    ValueError
        Where one of the statuses has no example.
    """
    lacking = [s for s in STATUSES if s not in set(statuses)]
    if lacking:
        raise ValueError(f"no example of {' or '.join(lacking)} to learn from")
    basis = basis or fit_basis(embeddings, weights)
    labels = np.array([STATUSES.index(s) for s in statuses])
    matrix, offset = fit_statuses(basis(embeddings), labels, weights, strength=strength)
    return LinearHead(basis.mean, basis.scale, basis.directions @ matrix, offset)


def fit_statuses(
    coordinates: NDArray[np.floating], labels: NDArray[np.int64], weights: FloatArray, *, strength: float
) -> tuple[FloatArray, FloatArray]:
    """The logistic regression itself, in coordinates (N, K): a matrix (K, 3) and an offset (3,)."""
    model = LogisticRegression(C=strength, max_iter=MOST_STEPS, tol=NEAR_ENOUGH)
    model.fit(coordinates, labels, sample_weight=weights * len(weights) / weights.sum())
    return np.asarray(model.coef_.T, float), np.asarray(model.intercept_, float)


def fit_day_head(
    embeddings: NDArray[np.floating],
    days: FloatArray,
    weights: FloatArray,
    *,
    penalty: float = DAY_PENALTY,
    basis: Basis | None = None,
) -> LinearHead:
    """Ridge regression of the day of incubation that an egg looks like; arguments as above."""
    basis = basis or fit_basis(embeddings, weights)
    matrix, offset = fit_days(basis(embeddings), days, weights, penalty=penalty)
    return LinearHead(basis.mean, basis.scale, basis.directions @ matrix, offset)


def fit_days(
    coordinates: NDArray[np.floating], days: FloatArray, weights: FloatArray, *, penalty: float
) -> tuple[FloatArray, FloatArray]:
    """The ridge regression itself, in closed form: a matrix (K, 1) and an offset (1,)."""
    share = weights * len(weights) / weights.sum()
    middle, mean = share @ coordinates / share.sum(), share @ days / share.sum()
    centred = coordinates - middle
    weighted = centred * share[:, None]
    matrix = np.linalg.solve(
        weighted.T @ centred + penalty * np.eye(centred.shape[1]), weighted.T @ (days - mean)
    )
    return matrix[:, None], np.atleast_1d(mean - middle @ matrix)


def softmax(logits: FloatArray, *, temperature: float = 1.0) -> FloatArray:
    """Probabilities along the last axis; a temperature over 1 makes them less sure."""
    scaled = logits / temperature
    scaled = scaled - scaled.max(axis=-1, keepdims=True)
    odds = np.exp(scaled)
    return np.asarray(odds / odds.sum(axis=-1, keepdims=True), dtype=np.float64)


@dataclass(frozen=True)
class StoredHeads:
    """Heads as loaded from their file, with their card."""

    session: onnxruntime.InferenceSession
    card: Mapping[str, Any]

    def __call__(self, embeddings: NDArray[np.float32]) -> tuple[FloatArray, FloatArray]:
        """Calibrated probabilities (N, 3) in the order of STATUSES, and apparent days (N,)."""
        probability, day = self.session.run(
            ["probability", "apparent_day"], {"embedding": embeddings.astype(np.float32)}
        )
        return probability.astype(np.float64), day[:, 0].astype(np.float64)

    def novelty(self, embeddings: NDArray[np.float32]) -> FloatArray | None:
        """How unlike the examples, (N,), see :func:`models.novelty.novelty`; ``None`` in older files."""
        if "novelty" not in [one.name for one in self.session.get_outputs()]:
            return None
        found = self.session.run(["novelty"], {"embedding": embeddings.astype(np.float32)})[0]
        return np.asarray(found, dtype=np.float64)[:, 0]


def load_heads(path: Path) -> StoredHeads:
    """Heads from a file written by ``models.training.fit_judgement``."""
    session = single_thread_session(path)
    card = json.loads(session.get_modelmeta().custom_metadata_map["card"])
    return StoredHeads(session, card)


def save_heads(
    path: Path,
    status: LinearHead,
    day: LinearHead,
    *,
    temperature: float,
    card: Mapping[str, Any],
    known: KnownLooks | None = None,
) -> None:
    """Write both heads, what they know, and their card as one ONNX file (needs the package ``onnx``)."""
    from onnx import TensorProto, checker, helper, numpy_helper, save

    status_weights, status_offset = status.folded()
    day_weights, day_offset = day.folded()
    tensors = {
        "status_weights": status_weights / np.float32(temperature),
        "status_offset": status_offset / np.float32(temperature),
        "day_weights": day_weights,
        "day_offset": day_offset,
    }
    nodes = [
        helper.make_node("Gemm", ["embedding", "status_weights", "status_offset"], ["logits"]),
        helper.make_node("Softmax", ["logits"], ["probability"], axis=1),
        helper.make_node("Gemm", ["embedding", "day_weights", "day_offset"], ["apparent_day"]),
    ]
    outputs = [
        helper.make_tensor_value_info("probability", TensorProto.FLOAT, ["n", len(STATUSES)]),
        helper.make_tensor_value_info("apparent_day", TensorProto.FLOAT, ["n", 1]),
    ]
    if known is not None:
        tensors |= {
            "known_mean": known.basis.mean.astype(np.float32),
            "known_scale": known.basis.scale.astype(np.float32),
            "known_directions": known.basis.directions.astype(np.float32),
            "known_rest": np.array([known.rest], np.float32),
        }
        nodes += [
            helper.make_node("Sub", ["embedding", "known_mean"], ["centred"]),
            helper.make_node("Div", ["centred", "known_scale"], ["standard"]),
            helper.make_node("MatMul", ["standard", "known_directions"], ["coordinates"]),
            helper.make_node("ReduceSumSquare", ["standard"], ["whole"], axes=[1], keepdims=1),
            helper.make_node("ReduceSumSquare", ["coordinates"], ["explained"], axes=[1], keepdims=1),
            helper.make_node("Sub", ["whole", "explained"], ["left"]),
            helper.make_node("Div", ["left", "known_rest"], ["novelty"]),
        ]
        outputs.append(helper.make_tensor_value_info("novelty", TensorProto.FLOAT, ["n", 1]))
    graph = helper.make_graph(
        nodes,
        "judgement",
        [helper.make_tensor_value_info("embedding", TensorProto.FLOAT, ["n", len(status_weights)])],
        outputs,
        [numpy_helper.from_array(values, name) for name, values in tensors.items()],
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=9)
    helper.set_model_props(model, {"card": json.dumps(card, sort_keys=True)})
    checker.check_model(model)
    save(model, str(path))
