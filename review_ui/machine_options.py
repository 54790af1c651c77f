"""Which machine, and which instrument, a command means."""

from __future__ import annotations

from sqlalchemy.orm import Session

from incubation.records import (
    Machine,
    RecordsError,
    list_instruments,
    list_machines,
    machine_by_name,
)
from review_ui.errors import UsageError


def chosen_machine(session: Session, name: str | None) -> Machine:
    """The machine of a name, or the only one.

    Raises
    ------
    UsageError
        Where there is none, or several and no name is given.
    RecordsError
        Where there is none of that name.
    """
    if name is not None:
        return machine_by_name(session, name)
    machines = list_machines(session)
    if not machines:
        raise UsageError("No machine is recorded; add yours with: trayglow machine add NAME --air forced")
    if len(machines) > 1:
        raise UsageError(
            f"There are several machines; name one with --machine: {', '.join(one.name for one in machines)}."
        )
    return machines[0]


def instrument_named(session: Session, name: str | None, measures: tuple[str, ...]) -> int | None:
    """The id of an instrument that measures one of these; ``None`` where none is named.

    Raises
    ------
    RecordsError
        Where there is none of this name.
    """
    if name is None:
        return None
    for instrument in list_instruments(session):
        if instrument.name.casefold() == name.casefold() and instrument.measures in measures:
            return instrument.id
    raise RecordsError(
        f"There is no instrument {name!r} that measures {' or '.join(measures)}; add it with: "
        f"trayglow instrument add {name!r} --measures {measures[0]!r}"
    )
