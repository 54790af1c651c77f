"""The linear heads: what they learn, and that their file answers as they do."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from sklearn.kernel_ridge import KernelRidge
from sklearn.linear_model import LogisticRegression

from models.basis import fit_basis
from models.day_head import fit_day_head, kernel_ridge, squared_distances
from models.heads import (
    STATUSES,
    LinearHead,
    fit_statuses,
    load_heads,
    save_heads,
    softmax,
    status_head,
    with_card,
)
from models.novelty import known_looks

D = 24
STRENGTH = 0.01  # scikit-learn's ``C``


def examples(count: int = 120, seed: int = 0) -> tuple[np.ndarray, list[str], np.ndarray]:
    rng = np.random.default_rng(seed)
    labels = np.arange(count) % 3
    embeddings = rng.standard_normal((count, D)).astype(np.float32)
    embeddings[:, :3] += 4 * np.eye(3, dtype=np.float32)[labels]
    days = 8 + 2 * embeddings[:, 5].astype(float)
    return embeddings, [STATUSES[i] for i in labels], days


def fitted(embeddings: np.ndarray, statuses: list[str], weights: np.ndarray) -> LinearHead:
    basis = fit_basis(embeddings, weights)
    labels = np.array([STATUSES.index(s) for s in statuses])
    return status_head(basis, *fit_statuses(basis(embeddings), labels, weights, strength=STRENGTH))


def test_status_head_is_scikit_learns_logistic_regression() -> None:
    embeddings, statuses, _ = examples()
    head = fitted(embeddings, statuses, np.ones(len(statuses)))
    standard = (embeddings - embeddings.mean(axis=0)) / (embeddings.std(axis=0) + 1e-3)
    reference = LogisticRegression(C=STRENGTH, max_iter=3000, tol=1e-6).fit(standard, statuses)
    order = [list(reference.classes_).index(s) for s in STATUSES]
    wanted = reference.predict_proba(standard)[:, order]
    # Both stop when near enough to the same optimum.
    assert np.abs(softmax(head(embeddings)) - wanted).max() < 5e-3


def test_day_head_follows_the_day() -> None:
    embeddings, _, days = examples(400)
    head = fit_day_head(embeddings, days, np.ones(len(days)))
    fresh, _, wanted = examples(100, seed=1)
    assert np.corrcoef(head(fresh), wanted)[0, 1] > 0.9


def test_day_head_is_scikit_learns_kernel_ridge() -> None:
    rng = np.random.default_rng(3)
    points, values, weights = rng.standard_normal((40, 5)), rng.standard_normal(40), rng.uniform(0.5, 2, 40)
    kernel = np.exp(-0.2 * squared_distances(points, points))
    mine = kernel_ridge(kernel, values, weights, penalty=0.3)
    reference = KernelRidge(alpha=0.3, kernel="rbf", gamma=0.2)
    reference.fit(points, values, sample_weight=weights * 40 / weights.sum())
    assert np.allclose(mine, reference.dual_coef_)


def test_directions_are_the_exact_ones() -> None:
    """Against numpy's full decomposition: as much of the variance to a thousandth."""
    rng = np.random.default_rng(4)
    vectors = rng.standard_normal((300, 60)) @ np.diag(0.8 ** np.arange(60)) @ rng.standard_normal((60, 60))
    basis = fit_basis(vectors, np.ones(300), count=8)
    standard = (vectors - vectors.mean(axis=0)) / (vectors.std(axis=0) + 1e-3)
    best = (np.linalg.svd(standard, compute_uv=False)[:8] ** 2).sum()
    assert (basis(vectors) ** 2).sum() == pytest.approx(best, rel=1e-3)
    assert np.allclose(basis.directions.T @ basis.directions, np.eye(8), atol=1e-5)


def test_what_lies_outside_the_examples_is_novel() -> None:
    rng = np.random.default_rng(5)
    plane = rng.standard_normal((2, 30))
    seen = rng.standard_normal((200, 2)) @ plane + 0.05 * rng.standard_normal((200, 30))
    known = known_looks(fit_basis(seen, np.ones(200), count=2), seen, np.ones(200))
    assert known.novelty(seen).mean() == pytest.approx(1)
    assert known.novelty(rng.standard_normal((10, 2)) @ plane).max() < 2  # in the plane, however far
    assert known.novelty(rng.standard_normal((10, 30))).min() > 10


def test_a_status_without_examples_is_refused() -> None:
    embeddings, statuses, _ = examples()
    living = ["developing" if s == "early death" else s for s in statuses]
    with pytest.raises(ValueError, match="no example of early death"):
        fitted(embeddings, living, np.ones(len(living)))


def test_the_file_answers_as_the_heads_do(tmp_path: Path) -> None:
    embeddings, statuses, days = examples()
    weights = np.ones(len(statuses))
    status = fitted(embeddings, statuses, weights)
    day = fit_day_head(embeddings, days, weights)
    known = known_looks(fit_basis(embeddings, weights, count=5), embeddings, weights)
    path = tmp_path / "heads.onnx"
    save_heads(path, status, day, temperature=1.7, card={"pass_from": 0.8}, known=known)
    with_card(path, {"pass_from": 0.9})
    stored = load_heads(path)
    chance, apparent = stored(embeddings)
    novelty = stored.novelty(embeddings)
    # The file holds single precision.
    assert np.abs(chance - softmax(status(embeddings), temperature=1.7)).max() < 1e-4
    assert np.abs(apparent - day(embeddings)).max() < 1e-3
    assert novelty is not None
    assert novelty == pytest.approx(known.novelty(embeddings), rel=1e-3)
    assert stored.card == {"pass_from": 0.9}


def test_a_higher_temperature_is_less_sure() -> None:
    logits = np.array([[2.0, 0.0, -1.0]])
    assert softmax(logits, temperature=3).max() < softmax(logits).max()
    assert softmax(logits, temperature=3).argmax() == 0
    assert softmax(logits * 1e4).sum() == pytest.approx(1)
