"""What all tests share: the folder of real photos, and what happens where a part is missing.

A part that not every machine has (the shared folder, a browser) makes a test skip, saying so. With
``TRAYGLOW_ALL_PARTS=1``, as in CI, every such skip is a failure. A test that cannot mean anything
on this machine (a file root may not read, say) skips with a reason that starts with
``does not apply``, and that stays a skip.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Generator
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[1]
DOES_NOT_APPLY = "does not apply"


def all_parts_required() -> bool:
    """Whether a skip for a missing part counts as a failure."""
    return os.environ.get("TRAYGLOW_ALL_PARTS") == "1"


def forbidden_skip(reason: str) -> str | None:
    """What to report in place of a skip, or ``None`` where the skip may stand."""
    if not all_parts_required() or reason.removeprefix("Skipped: ").startswith(DOES_NOT_APPLY):
        return None
    return f"skipped, but TRAYGLOW_ALL_PARTS=1 says every part is here: {reason}"


def _reason(longrepr: object) -> str:
    return str(longrepr[2]) if isinstance(longrepr, tuple) else str(longrepr)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    expected_to_fail = hasattr(report, "wasxfail")
    if report.skipped and not expected_to_fail and (complaint := forbidden_skip(_reason(report.longrepr))):
        report.outcome, report.longrepr = "failed", complaint
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    if report.skipped and (complaint := forbidden_skip(_reason(report.longrepr))):
        report.outcome, report.longrepr = "failed", complaint
    return report


@pytest.fixture(scope="session")
def shared_folder() -> Path:
    """The folder with the real photos: ``TRAYGLOW_SHARED``, or ``shared`` beside the checkout."""
    named = os.environ.get("TRAYGLOW_SHARED")
    folder = Path(named) if named else CHECKOUT.parent / "shared"
    if not folder.is_dir():
        pytest.skip(f"the folder of real photos is not here: {folder} (set TRAYGLOW_SHARED to where it lies)")
    return folder


def _part(shared_folder: Path, name: str) -> Path:
    part = shared_folder / name
    if not part.exists():
        pytest.skip(f"the shared folder lacks {name}: {part}")
    return part


@pytest.fixture(scope="session")
def real_photos(shared_folder: Path) -> Path:
    """The folder of the real photos themselves."""
    return _part(shared_folder, "real_photos") / "photos"


@pytest.fixture(scope="session")
def real_photo_labels(shared_folder: Path) -> list[dict[str, str]]:
    """One row a real photo, as strings; the columns are those of the set's own README."""
    with (_part(shared_folder, "real_photos") / "labels.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="session")
def simulated_by_others(shared_folder: Path) -> Path:
    """Pictures of a renderer that is not ours, for checks only."""
    return _part(shared_folder, "simulated_by_others")


@pytest.fixture(scope="session")
def vessel_photos(shared_folder: Path) -> Path:
    """Retinal photographs with vessels traced by two observers (CHASE_DB1), for checks only."""
    return _part(shared_folder, "vessels") / "CHASE_DB1"


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Generator[Path, None, None]:
    """An empty data folder that the screens and commands take for the person's own."""
    from review_ui.screens import frame

    folder = tmp_path / "records"
    monkeypatch.setenv("TRAYGLOW_DATA", str(folder))
    monkeypatch.delenv("TRAYGLOW_DATABASE", raising=False)
    yield folder
    frame.close_records()


@pytest.fixture
def store(data: Path) -> Generator[object, None, None]:
    """Records in that folder, open."""
    from incubation import records as rec

    with rec.open_records(data) as records:
        yield records
