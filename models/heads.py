"""The small linear heads on top of the embedding: status and apparent day, stored in one file.

The status is a regularised linear model in the leading directions of the 1280-value embedding: with a few
hundred photos of a few dozen eggs nothing larger can be justified; for the day see
:mod:`models.day_head`. What an embedding has outside those
directions says how unlike the examples an egg is. All are stored as one ONNX file with their card
(counts, figures, thresholds) inside, so nothing is ever unpickled.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import onnxruntime
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression

from models.basis import Basis
from models.day_head import DayHead
from models.novelty import KnownLooks
from models.proposal import Status
from vision.onnx_session import single_thread_session

FloatArray = NDArray[np.float64]
STATUSES: tuple[Status, ...] = ("clear", "early death", "developing")
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


def status_head(basis: Basis, matrix: FloatArray, offset: FloatArray) -> LinearHead:
    """The head of a fit in the directions of ``basis``, for raw embeddings."""
    return LinearHead(basis.mean, basis.scale, basis.directions @ matrix, offset)


def fit_statuses(
    coordinates: NDArray[np.floating], labels: NDArray[np.int64], weights: FloatArray, *, strength: float
) -> tuple[FloatArray, FloatArray]:
    """Multinomial logistic regression; its softmax gives the probabilities of :data:`STATUSES`.

    Parameters
    ----------
    coordinates, labels, weights
        Examples in the directions of a basis, (N, K); places in :data:`STATUSES`, (N,); (N,).
    strength
        scikit-learn's ``C``: the smaller, the smaller the weights are held.

    Returns
    -------
    A matrix (K, 3) and an offset (3,).

    Raises
    ------
    ValueError
        Where one of the statuses has no example.
    """
    lacking = [status for place, status in enumerate(STATUSES) if place not in labels]
    if lacking:
        raise ValueError(f"no example of {' or '.join(lacking)} to learn from")
    model = LogisticRegression(C=strength, max_iter=MOST_STEPS, tol=NEAR_ENOUGH)
    model.fit(coordinates, labels, sample_weight=weights * len(weights) / weights.sum())
    return np.asarray(model.coef_.T, float), np.asarray(model.intercept_, float)


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
    day: DayHead,
    *,
    temperature: float,
    card: Mapping[str, Any],
    known: KnownLooks | None = None,
) -> None:
    """Write both heads, what they know, and their card as one ONNX file (needs the package ``onnx``)."""
    from onnx import TensorProto, checker, helper, numpy_helper, save

    status_weights, status_offset = status.folded()
    tensors = {
        "status_weights": status_weights / np.float32(temperature),
        "status_offset": status_offset / np.float32(temperature),
        **_basis_tensors("day", day.basis),
        "day_examples": day.examples.T.astype(np.float32),
        "day_example_squares": (day.examples**2).sum(axis=1)[None, :].astype(np.float32),
        "day_coefficients": day.coefficients[:, None].astype(np.float32),
        "day_middle": np.array([day.middle], np.float32),
        "day_two": np.array([2.0], np.float32),
        "day_blunting": np.array([-day.sharpness], np.float32),
    }
    nodes = [
        helper.make_node("Gemm", ["embedding", "status_weights", "status_offset"], ["logits"]),
        helper.make_node("Softmax", ["logits"], ["probability"], axis=1),
        *_basis_nodes("day"),
        helper.make_node("ReduceSumSquare", ["day_coordinates"], ["day_squares"], axes=[1], keepdims=1),
        helper.make_node("MatMul", ["day_coordinates", "day_examples"], ["day_products"]),
        helper.make_node("Mul", ["day_products", "day_two"], ["day_twice"]),
        helper.make_node("Add", ["day_squares", "day_example_squares"], ["day_sums"]),
        helper.make_node("Sub", ["day_sums", "day_twice"], ["day_distances"]),
        helper.make_node("Mul", ["day_distances", "day_blunting"], ["day_exponents"]),
        helper.make_node("Exp", ["day_exponents"], ["day_near"]),
        helper.make_node("MatMul", ["day_near", "day_coefficients"], ["day_from_middle"]),
        helper.make_node("Add", ["day_from_middle", "day_middle"], ["apparent_day"]),
    ]
    outputs = [
        helper.make_tensor_value_info("probability", TensorProto.FLOAT, ["n", len(STATUSES)]),
        helper.make_tensor_value_info("apparent_day", TensorProto.FLOAT, ["n", 1]),
    ]
    if known is not None:
        tensors |= {**_basis_tensors("known", known.basis), "known_rest": np.array([known.rest], np.float32)}
        nodes += [
            *_basis_nodes("known"),
            helper.make_node("ReduceSumSquare", ["known_standard"], ["whole"], axes=[1], keepdims=1),
            helper.make_node("ReduceSumSquare", ["known_coordinates"], ["explained"], axes=[1], keepdims=1),
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


def with_card(path: Path, card: Mapping[str, Any]) -> None:
    """Write another card into a file of heads (needs the package ``onnx``)."""
    from onnx import helper, load, save

    model = load(str(path))
    helper.set_model_props(model, {"card": json.dumps(card, sort_keys=True)})
    save(model, str(path))


def _basis_tensors(name: str, basis: Basis) -> dict[str, NDArray[np.float32]]:
    return {
        f"{name}_mean": basis.mean.astype(np.float32),
        f"{name}_scale": basis.scale.astype(np.float32),
        f"{name}_directions": basis.directions.astype(np.float32),
    }


def _basis_nodes(name: str) -> list[Any]:
    """From ``embedding`` to ``NAME_standard`` and ``NAME_coordinates``."""
    from onnx import helper

    return [
        helper.make_node("Sub", ["embedding", f"{name}_mean"], [f"{name}_centred"]),
        helper.make_node("Div", [f"{name}_centred", f"{name}_scale"], [f"{name}_standard"]),
        helper.make_node("MatMul", [f"{name}_standard", f"{name}_directions"], [f"{name}_coordinates"]),
    ]
