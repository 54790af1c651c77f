"""Where the real photos and other check data lie: beside the checkout, never inside it."""

from __future__ import annotations

import csv
import os
from dataclasses import dataclass
from pathlib import Path

SHARED_VARIABLE = "TRAYGLOW_SHARED"


class SharedDataMissingError(FileNotFoundError):
    """The folder with the real photos is not there; the message says what to do."""


def shared_folder() -> Path:
    """The folder named by ``TRAYGLOW_SHARED``, by default ``../shared`` beside the checkout.

    Raises
    ------
    SharedDataMissingError
        Where there is no such folder.
    """
    default = Path(__file__).resolve().parents[2] / "shared"
    folder = Path(os.environ.get(SHARED_VARIABLE) or default)
    if not folder.is_dir():
        raise SharedDataMissingError(
            f"the folder with the real photos, {folder}, is not there; set {SHARED_VARIABLE} to where it lies"
        )
    return folder


@dataclass(frozen=True)
class RealPhoto:
    """One labelled real photo; see the data set's own README for the columns."""

    path: Path
    row: dict[str, str]

    @property
    def name(self) -> str:
        """File name."""
        return self.row["photo"]

    @property
    def evening(self) -> str:
        """The evening it was taken on."""
        return self.row["evening"]

    @property
    def egg(self) -> str:
        """The same egg's photos share this."""
        return self.row["egg_group"]

    @property
    def day(self) -> float | None:
        """Day of incubation, where known."""
        return float(self.row["day"]) if self.row["day"] else None

    @property
    def dead(self) -> bool:
        """Labelled dead."""
        return self.row["stage"] == "dead"

    @property
    def outline_known(self) -> bool:
        """The outline was marked by eye and is good."""
        return self.row["outline_ok"] == "1"


def real_photos(shared: Path | None = None) -> tuple[RealPhoto, ...]:
    """All labelled real photos, in the order of the label file."""
    return labelled_photos((shared or shared_folder()) / "real_photos")


def labelled_photos(folder: Path) -> tuple[RealPhoto, ...]:
    """As :func:`real_photos`, from the folder that holds the label file itself."""
    labels = folder / "labels.csv"
    if not labels.is_file():
        raise SharedDataMissingError(f"{labels} is not there")
    with labels.open(newline="", encoding="utf-8") as file:
        return tuple(RealPhoto(folder / "photos" / row["photo"], row) for row in csv.DictReader(file))
