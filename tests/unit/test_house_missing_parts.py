"""A part missing on this machine is a skip here and a failure where all parts are required."""

from __future__ import annotations

from pathlib import Path

import pytest

pytest_plugins = ["pytester"]

CONFTEST = Path(__file__).resolve().parents[1] / "conftest.py"


@pytest.fixture
def run_tests(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch):
    """Run a test file under the project's own conftest, away from the checkout."""
    monkeypatch.setenv("PYTEST_DISABLE_PLUGIN_AUTOLOAD", "1")  # only for speed
    pytester.makeconftest(CONFTEST.read_text(encoding="utf-8"))

    def run(source: str, *, all_parts: bool, shared: Path | None = None) -> pytest.RunResult:
        monkeypatch.setenv("TRAYGLOW_ALL_PARTS", "1" if all_parts else "0")
        monkeypatch.setenv("TRAYGLOW_SHARED", str(shared or pytester.path / "nowhere"))
        pytester.makepyfile(source)
        return pytester.runpytest("-p", "no:cacheprovider")

    return run


NEEDS_PHOTOS = "def test_photos(real_photo_labels): assert real_photo_labels"
NEEDS_PACKAGE = "import pytest; pytest.importorskip('no_such_package_at_all')"
NOT_MEANT_HERE = "import pytest\ndef test_it(): pytest.skip('does not apply: root may read every file')"
KNOWN_FAULT = "import pytest\n@pytest.mark.xfail(strict=True)\ndef test_it(): assert False"


@pytest.mark.parametrize("source", [NEEDS_PHOTOS, NEEDS_PACKAGE], ids=["shared folder", "package"])
def test_missing_part_skips_unless_all_parts_are_required(run_tests, source: str) -> None:
    assert run_tests(source, all_parts=False).parseoutcomes() == {"skipped": 1}

    strict = run_tests(source, all_parts=True)
    assert strict.ret != 0
    assert "skipped" not in strict.parseoutcomes()
    strict.stdout.fnmatch_lines(["*TRAYGLOW_ALL_PARTS=1 says every part is here*"])


def test_skip_names_the_folder_and_the_setting(run_tests, tmp_path: Path) -> None:
    result = run_tests(NEEDS_PHOTOS, all_parts=True, shared=tmp_path / "photos elsewhere")
    result.stdout.fnmatch_lines(["*photos elsewhere*TRAYGLOW_SHARED*"])


@pytest.mark.parametrize(
    ("source", "outcome"),
    [(NOT_MEANT_HERE, "skipped"), (KNOWN_FAULT, "xfailed")],
    ids=["meaningless", "xfail"],
)
def test_other_outcomes_are_left_alone(run_tests, source: str, outcome: str) -> None:
    result = run_tests(source, all_parts=True)
    assert result.ret == 0
    assert result.parseoutcomes() == {outcome: 1}


def test_labels_are_read_from_the_folder_named(run_tests, tmp_path: Path) -> None:
    (tmp_path / "real_photos").mkdir()
    (tmp_path / "real_photos" / "labels.csv").write_text("photo,day\na.jpg,7\n", encoding="utf-8")
    source = "def test_it(real_photo_labels): assert real_photo_labels == [{'photo': 'a.jpg', 'day': '7'}]"
    assert run_tests(source, all_parts=True, shared=tmp_path).parseoutcomes() == {"passed": 1}
