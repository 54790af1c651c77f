"""Which eggs wait for a person, the uncertain first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from incubation.records import EggState, cup_order


def waiting(state: EggState) -> bool:
    """Whether a person is still to look: not passed, not called since the newest look, not pulled."""
    look = state.look
    return (
        look is not None
        and look.proposal.decision != "pass"
        and not state.called_since_look
        and not state.pulled
    )


def review_queue(states: Iterable[EggState]) -> tuple[EggState, ...]:
    """Eggs to look at: ``review`` with the least sure first, then ``confirm`` in tray and cup order."""
    return tuple(sorted(filter(waiting, states), key=_urgency))


def confirm_sheet(states: Iterable[EggState]) -> tuple[EggState, ...]:
    """The confident clears and early deaths that wait for a yes, in tray and cup order."""
    return tuple(
        state
        for state in review_queue(states)
        if state.look is not None and state.look.proposal.decision == "confirm"
    )


def next_egg(
    queue: Sequence[EggState], *, skipped: Iterable[int] = (), wanted: int | None = None
) -> EggState | None:
    """The egg to show now.

    Parameters
    ----------
    queue
        From :func:`review_queue`.
    skipped
        Ids of eggs put off, in the order in which that was done: they come again, in that order,
        once no other is left.
    wanted
        Id of the egg that the person asked for; it comes first while it waits.
    """
    by_id = {state.egg.id: state for state in queue}
    if wanted is not None and wanted in by_id:
        return by_id[wanted]
    put_off = [egg_id for egg_id in skipped if egg_id in by_id]
    for state in queue:
        if state.egg.id not in put_off:
            return state
    return by_id[put_off[0]] if put_off else None


def _urgency(state: EggState) -> tuple[int, float, str, tuple[int, int]]:
    assert state.look is not None  # waiting() saw to that
    proposal = state.look.proposal
    uncertain = proposal.decision == "review"
    sureness = max(proposal.probability.values(), default=0.0) if uncertain else 0.0
    return (0 if uncertain else 1, sureness, state.tray.name, cup_order(state.egg.cup))
