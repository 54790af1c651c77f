"""constraints.txt pins everything that gets installed, to versions pyproject.toml accepts."""

from __future__ import annotations

import tomllib
from importlib.metadata import PackageNotFoundError, requires
from itertools import chain
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

CHECKOUT = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))
EXTRAS = PROJECT["project"]["optional-dependencies"]
PIN_LINES = [
    line
    for line in (CHECKOUT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    if line and not line.startswith("#")
]
PINS = {canonicalize_name(name): version for name, _, version in (line.partition("==") for line in PIN_LINES)}
OURS = [Requirement(text) for text in chain(PROJECT["project"]["dependencies"], *EXTRAS.values())]


def test_every_line_is_one_exact_version() -> None:
    assert [line for line in PIN_LINES if not line.partition("==")[2].replace(".", "").isalnum()] == []
    assert len(PINS) == len(PIN_LINES)
    assert sorted(PINS) == list(PINS)


@pytest.mark.parametrize("requirement", OURS, ids=lambda requirement: requirement.name)
def test_pin_meets_what_the_project_asks_for(requirement: Requirement) -> None:
    pinned = PINS[canonicalize_name(requirement.name)]
    assert requirement.specifier.contains(pinned)


def test_everything_pulled_in_is_pinned() -> None:
    """Walks what is installed here from the project's own requirements on, this platform's part."""
    seen: set[tuple[str, str]] = set()
    queue = [(requirement.name, extra) for requirement in OURS for extra in ("", *requirement.extras)]
    unpinned = set()
    while queue:
        name, extra = queue.pop()
        if (key := (canonicalize_name(name), extra)) in seen:
            continue
        seen.add(key)
        if key[0] not in PINS:
            unpinned.add(name)
        try:
            needed = [Requirement(text) for text in requires(name) or []]
        except PackageNotFoundError:  # an extra that is not installed here
            continue
        for requirement in needed:
            if requirement.marker is None or requirement.marker.evaluate({"extra": extra}):
                queue += [(requirement.name, more) for more in ("", *requirement.extras)]
    assert unpinned == set()
    assert len(seen) > 60  # the screens alone pull in about forty
