"""How every shipped network is run: by onnxruntime, on one thread.

Photos are read side by side in processes; a session that took all cores would only be in their way.
"""

from __future__ import annotations

from pathlib import Path

import onnxruntime

from vision.network_files import check_listed


def single_thread_session(path: Path) -> onnxruntime.InferenceSession:
    """The network of an ONNX file, ready to run.

    Raises
    ------
    vision.network_files.NetworkFileError
        Where it is one of Trayglow's own and was changed.
    """
    check_listed(path)
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.inter_op_num_threads = 1
    return onnxruntime.InferenceSession(str(path), sess_options=options, providers=["CPUExecutionProvider"])
