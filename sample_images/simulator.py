"""The simulator's public names."""

from __future__ import annotations

from sample_images.biology import EggSpec, random_egg, with_air_volume
from sample_images.camera import Camera, encode_jpeg
from sample_images.scene import LAMPS, SURROUNDINGS, Pose, Scene
from sample_images.side_view import draw_egg, draw_eggs, random_side_view
from sample_images.tray_view import cup_places_mm, random_tray
from sample_images.truth import AirCellTruth, EggTruth, SimulatedPhoto, TrayTruth, truth_to_dict

__all__ = [
    "LAMPS", "SURROUNDINGS", "AirCellTruth", "Camera", "EggSpec", "EggTruth", "Pose", "Scene",
    "SimulatedPhoto", "TrayTruth", "draw_egg", "draw_eggs", "encode_jpeg", "random_egg",
    "cup_places_mm", "random_side_view", "random_tray", "truth_to_dict", "with_air_volume",
]  # fmt: skip
