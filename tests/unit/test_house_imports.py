"""The direction of imports: the contracts in pyproject.toml hold, and each one bites."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import grimp
import pytest

CHECKOUT = Path(__file__).resolve().parents[2]
PACKAGES = ("vision", "incubation", "models", "review_ui", "sample_images")


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    code = (
        "import sys; from importlinter.cli import lint_imports; sys.path.insert(0, '.');"
        "sys.exit(lint_imports(config_filename='pyproject.toml', no_cache=True))"
    )
    return subprocess.run(
        [sys.executable, "-c", code], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )


def test_contracts_hold() -> None:
    result = lint(CHECKOUT)
    assert result.returncode == 0, result.stdout + result.stderr


def test_egg_geometry_imports_nothing_of_ours() -> None:
    graph = grimp.build_graph(*PACKAGES, cache_dir=None)
    assert graph.find_modules_directly_imported_by("incubation.egg_geometry") == set()


@pytest.fixture
def small_tree(tmp_path: Path) -> Path:
    """The same packages with hardly anything in them, under the project's own contracts."""
    shutil.copy(CHECKOUT / "pyproject.toml", tmp_path)
    modules = ("incubation/egg_geometry.py", "incubation/species.py", "models/training/__init__.py")
    for name in (*(f"{package}/__init__.py" for package in PACKAGES), *modules):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    return tmp_path


def test_allowed_imports_pass(small_tree: Path) -> None:
    (small_tree / "vision/reading.py").write_text("from incubation.egg_geometry import EggProfile\n")
    (small_tree / "models/judge.py").write_text("import vision.reading, incubation.species\n")
    (small_tree / "models/training/draw.py").write_text("import torch, sample_images\n")
    (small_tree / "sample_images/draw.py").write_text("import incubation.egg_geometry\n")
    (small_tree / "review_ui/run.py").write_text("import models.judge, sample_images.draw\n")
    result = lint(small_tree)
    assert result.returncode == 0, result.stdout


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("vision/x.py", "import incubation.species"),
        ("vision/x.py", "import models"),
        ("vision/x.py", "import sqlalchemy"),
        ("incubation/x.py", "import vision"),
        ("incubation/x.py", "import cv2"),
        ("models/x.py", "import sample_images"),
        ("models/x.py", "import torch"),
        ("models/x.py", "import review_ui"),
        ("sample_images/x.py", "import incubation.species"),
        ("sample_images/x.py", "import vision"),
        ("review_ui/x.py", "import torch"),
    ],
)
def test_forbidden_import_is_caught(small_tree: Path, module: str, source: str) -> None:
    (small_tree / module).write_text(source + "\n")
    result = lint(small_tree)
    assert result.returncode == 1, result.stdout
    forbidden = source.removeprefix("import ")
    assert f"{Path(module).parent.name}.x -> {forbidden}" in result.stdout
