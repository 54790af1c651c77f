"""What an egg counts as after the hatch."""

from __future__ import annotations

from typing import get_args

import pytest

from incubation.hatch_egg import DEVELOPED, FATES, HatchEgg, fate_of
from incubation.records.rows import CALL_STATUSES, Found


@pytest.mark.parametrize(
    ("found", "signs", "called", "fate"),
    [
        ("hatched", (), "clear", "hatched"),  # what was found outweighs the call
        ("alive", (), "late death", "alive"),
        ("embryo", (), None, "dead"),
        ("embryo", ("pipped", "malposition"), None, "pipped"),
        ("ring", (), "clear", "dead"),
        ("no development", (), "developing", "infertile"),
        (None, (), "clear", "clear"),  # never "infertile" unopened: some clears died early
        ("not opened", (), "clear", "clear"),
        (None, (), "early death", "dead"),
        (None, (), "damaged", "damaged"),
        ("not opened", (), "developing", "dead"),
        ("not opened", (), "cannot tell", "not opened"),
        (None, (), None, "unknown"),
    ],
)
def test_fate(found: str | None, signs: tuple[str, ...], called: str | None, fate: str) -> None:
    assert fate_of(found, signs=signs, called=called) == fate


def test_an_egg_seen_living_is_not_dead_before_the_hatch_is_over() -> None:
    assert fate_of(None, called="developing", hatch_over=False) == "unknown"
    assert fate_of(None, called="cannot tell", seen_living=True, hatch_over=False) == "unknown"
    assert fate_of(None, called="cannot tell", seen_living=True) == "dead"


def test_every_finding_and_call_of_the_records_has_a_fate() -> None:
    for found in (*get_args(Found), None):
        for called in (*CALL_STATUSES, None):
            egg = HatchEgg("a", fate_of(found, called=called))
            assert egg.fate in FATES
            assert egg.developed == (egg.fate in DEVELOPED)


def test_an_unknown_finding_is_refused() -> None:
    with pytest.raises(ValueError, match="'rotten' is not known as a finding"):
        fate_of("rotten")
