"""The commands the README promises are the ones CI runs, and they stay single lines."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[2]
README = (CHECKOUT / "README.md").read_text(encoding="utf-8")
CI_LINES = [line.strip() for line in (CHECKOUT / ".ci" / "run").read_text(encoding="utf-8").splitlines()]
SHELL, POWERSHELL = "sh", "powershell"


def commands(language: str) -> list[str]:
    """The README's fenced blocks in one language."""
    return re.findall(rf"^```{language}\n(.*?)\n```$", README, flags=re.DOTALL | re.MULTILINE)


@pytest.mark.parametrize("language", [SHELL, POWERSHELL])
def test_two_commands_of_a_single_line_each(language: str) -> None:
    main_job, tests = commands(language)
    assert "\n" not in main_job + tests
    assert main_job.endswith("trayglow demo")
    assert tests.endswith("-m pytest")


def test_ci_runs_the_readme_lines_as_they_stand() -> None:
    """But for the screens, which would stay open."""
    main_job, tests = commands(SHELL)
    assert f"{main_job} --no-screens" in CI_LINES
    assert tests in CI_LINES


def test_files_named_in_the_readme_are_there() -> None:
    linked = re.findall(r"\]\(([^)#:]+)\)", README)
    assert linked
    assert [name for name in linked if not (CHECKOUT / name).is_file()] == []


def test_extras_and_entry_point() -> None:
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["scripts"] == {"trayglow": "review_ui.command_line:main"}
    assert set(project["optional-dependencies"]) >= {"test", "train", "cluster", "postgres"}
