"""The linear heads: what they learn, and that their file answers as they do."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from models.heads import (
    STATUS_STRENGTH,
    STATUSES,
    fit_day_head,
    fit_status_head,
    load_heads,
    save_heads,
    softmax,
)

D = 24


def examples(count: int = 120, seed: int = 0) -> tuple[np.ndarray, list[str], np.ndarray]:
    rng = np.random.default_rng(seed)
    labels = np.arange(count) % 3
    embeddings = rng.standard_normal((count, D)).astype(np.float32)
    embeddings[:, :3] += 4 * np.eye(3, dtype=np.float32)[labels]
    days = 8 + 2 * embeddings[:, 5].astype(float)
    return embeddings, [STATUSES[i] for i in labels], days


def test_status_head_is_scikit_learns_logistic_regression() -> None:
    embeddings, statuses, _ = examples()
    head = fit_status_head(embeddings, statuses, np.ones(len(statuses)))
    standard = (embeddings - embeddings.mean(axis=0)) / (embeddings.std(axis=0) + 1e-3)
    reference = LogisticRegression(C=STATUS_STRENGTH, max_iter=3000, tol=1e-6).fit(standard, statuses)
    order = [list(reference.classes_).index(s) for s in STATUSES]
    wanted = reference.predict_proba(standard)[:, order]
    assert np.abs(softmax(head(embeddings)) - wanted).max() < 1e-3


def test_day_head_follows_the_day() -> None:
    embeddings, _, days = examples(400)
    head = fit_day_head(embeddings, days, np.ones(len(days)))
    fresh, _, wanted = examples(100, seed=1)
    assert np.corrcoef(head(fresh)[:, 0], wanted)[0, 1] > 0.9


def test_a_status_without_examples_is_refused() -> None:
    embeddings, statuses, _ = examples()
    living = ["developing" if s == "early death" else s for s in statuses]
    with pytest.raises(ValueError, match="no example of early death"):
        fit_status_head(embeddings, living, np.ones(len(living)))


def test_the_file_answers_as_the_heads_do(tmp_path: Path) -> None:
    embeddings, statuses, days = examples()
    status = fit_status_head(embeddings, statuses, np.ones(len(statuses)))
    day = fit_day_head(embeddings, days, np.ones(len(days)))
    save_heads(tmp_path / "heads.onnx", status, day, temperature=1.7, card={"pass_from": 0.8})
    stored = load_heads(tmp_path / "heads.onnx")
    chance, apparent = stored(embeddings)
    # The file holds single precision.
    assert np.abs(chance - softmax(status(embeddings), temperature=1.7)).max() < 1e-4
    assert np.abs(apparent - day(embeddings)[:, 0]).max() < 1e-3
    assert stored.card == {"pass_from": 0.8}


def test_a_higher_temperature_is_less_sure() -> None:
    logits = np.array([[2.0, 0.0, -1.0]])
    assert softmax(logits, temperature=3).max() < softmax(logits).max()
    assert softmax(logits, temperature=3).argmax() == 0
    assert softmax(logits * 1e4).sum() == pytest.approx(1)
