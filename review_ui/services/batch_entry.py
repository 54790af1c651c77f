"""New trays and eggs, from what was typed into a form."""

from __future__ import annotations

from collections.abc import Sequence

from incubation import records as rec
from review_ui.errors import UsageError
from review_ui.services.cup_ranges import cups_named


def words_of(text: str) -> tuple[str, ...]:
    """Names separated by commas, without blanks around them, each once, in their order."""
    return tuple(dict.fromkeys(word.strip() for word in text.split(",") if word.strip()))


def make_tray(
    store: rec.Records, batch_id: int, *, name: str, rows: int, columns: int, layout: str
) -> rec.Tray:
    """A new tray.

    Raises
    ------
    UsageError
        If the name is missing.
    """
    if not name.strip():
        raise UsageError("Name: give the tray a name, such as Top shelf.")
    with store.write() as session:
        return rec.add_tray(session, batch_id, name=name.strip(), rows=rows, columns=columns, layout=layout)


def put_eggs(
    store: rec.Records, tray: rec.Tray, *, cups: str, breed: str = "", source: str = "", mark: str = ""
) -> int:
    """Enter eggs into the cups named, as :func:`cups_named` reads them; how many.

    Raises
    ------
    UsageError
        If a cup is not on the tray.
    """
    named = cups_named(cups, rows=tray.rows, columns=tray.columns)
    if mark.strip() and len(named) > 1:
        raise UsageError(
            f"Mark: {mark.strip()!r} can be on one egg only; name one cup, or leave the mark empty."
        )
    egg = rec.NewEgg(breed=breed.strip(), source=source.strip(), mark=mark.strip())
    with store.write() as session:
        return len(rec.add_eggs(session, tray.id, dict.fromkeys(named, egg)))


def put_trays(
    store: rec.Records,
    batch: rec.Batch,
    trays: Sequence[rec.Tray],
    *,
    machine_id: int | None,
    name: str,
    fan: bool,
    who: str,
) -> str:
    """Record that a batch's trays have stood in a machine since it was set; a sentence that says so.

    Without an id, a machine of this name is made.

    Raises
    ------
    UsageError
        If a name is missing.
    """
    if machine_id is None and not name.strip():
        raise UsageError("Machine: give it a name, such as Cabinet.")
    if not who.strip():
        raise UsageError("Your name: say who records this.")
    with store.write() as session:
        if machine_id is None:
            air = "forced air" if fan else "still air"
            machine = rec.add_machine(session, name=name.strip(), air=air, form="tabletop")
        else:
            machine = rec.machine_by_id(session, machine_id)
        for tray in trays:
            rec.place_tray(session, tray.id, machine.id, who=who.strip(), at=batch.set_at)
    return f"Recorded: {', '.join(tray.name for tray in trays)} in {machine.name} since setting."
