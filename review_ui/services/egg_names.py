"""How people find the eggs of a batch: by cup, and where it has several trays, by tray and cup."""

from __future__ import annotations

from collections.abc import Sequence

from incubation.records import EggState


def egg_names(states: Sequence[EggState]) -> dict[int, str]:
    """By the id of the egg: ``"A3"``, or ``"top A3"`` where these eggs lie in several trays."""
    several = len({state.tray.id for state in states}) > 1
    return {
        state.egg.id: f"{state.tray.name} {state.egg.cup}" if several else state.egg.cup for state in states
    }
