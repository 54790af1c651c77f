"""The networks that come with the program are those that were shipped, or are not run.

Their SHA-256 checksums stand in ``checksums.json`` beside them. After changing or adding one:

    python -m vision.network_files
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
LIST = "checksums.json"


class NetworkFileError(ValueError):
    """Why a network is not run: one sentence for the person."""


def check_listed(path: Path) -> None:
    """See that a network is the one listed in the ``checksums.json`` beside it.

    A network without a list, or that its list does not name, is somebody's own and is let through.

    Raises
    ------
    NetworkFileError
        Where it is missing or other bytes than listed, or where the list is damaged.
    """
    sums = _listed(path.parent / LIST)
    if path.name not in sums:
        return
    try:
        found = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        why = error.strerror or type(error).__name__
        raise NetworkFileError(
            f"The network {path} could not be read ({why}); install Trayglow again."
        ) from error
    if found != sums[path.name]:
        raise NetworkFileError(
            f"{path} is not the network that came with Trayglow: it was changed, damaged or exchanged since; "
            "install Trayglow again."
        )


def write_checksums(folder: Path = FOLDER) -> None:
    """Write the list for a folder's networks."""
    sums = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.glob("*.onnx"))
    }
    (folder / LIST).write_text(json.dumps(sums, indent=1) + "\n", encoding="ascii")


def _listed(path: Path) -> dict[str, str]:
    if not path.exists():
        return {}
    try:
        return {str(name): str(found) for name, found in json.loads(path.read_text(encoding="ascii")).items()}
    except (OSError, ValueError, AttributeError) as error:
        raise NetworkFileError(
            f"{path}, the list of the networks' checksums, is damaged; install Trayglow again."
        ) from error


if __name__ == "__main__":
    write_checksums()
