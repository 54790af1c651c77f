"""The embedding of an egg's picture: 1280 numbers from EfficientNet-Lite0 (ImageNet weights).

The network was never trained on eggs; only the small heads on top of it were. See
``models/training/export_networks.py`` for how the file is made, NOTICE for its origin.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache

import numpy as np
import onnxruntime
from numpy.typing import NDArray

from models.model_files import SHIPPED, checked_bytes, shipped_checksum
from vision.onnx_session import single_thread_session

EMBEDDING_SIZE = 1280
_THREADS = 2  # side by side; other photos may be read at the same time


@cache
def _session() -> onnxruntime.InferenceSession:
    path = SHIPPED / "backbone.onnx"
    checked_bytes(path, sha256=shipped_checksum(path.name))
    return single_thread_session(path)


def embed(crops: Sequence[NDArray[np.uint8]]) -> NDArray[np.float32]:
    """Embeddings, shape (N, 1280), of crops made by :func:`models.egg_crop.egg_crop`.

    Each is the mean over the crop and its mirror image: an egg has no left and right.
    """
    if not crops:
        return np.empty((0, EMBEDDING_SIZE), np.float32)
    # One crop a run: several at once leave the processor's cache and take longer. A run of the network
    # leaves Python's lock, so a tray's crops go side by side.
    with ThreadPoolExecutor(min(_THREADS, len(crops), os.cpu_count() or 1)) as pool:
        return np.stack(list(pool.map(_embed_crop, crops)))


def _embed_crop(crop: NDArray[np.uint8]) -> NDArray[np.float32]:
    both = np.empty((2, 3, *crop.shape[:2]), np.float32)
    both[0] = crop.transpose(2, 0, 1)
    both[0] -= 127.0
    both[0] /= 128.0
    both[1] = both[0, :, :, ::-1]
    answer = _session().run(None, {"rgb": both})[0]
    return np.asarray((answer[0] + answer[1]) / 2, dtype=np.float32)
