"""New batches, trays and eggs, from what was typed into a form."""

from __future__ import annotations

from datetime import date, datetime, time

from incubation import records as rec
from review_ui.errors import UsageError
from review_ui.services.cup_ranges import cups_named


def words_of(text: str) -> tuple[str, ...]:
    """Names separated by commas, without blanks around them, each once, in their order."""
    return tuple(dict.fromkeys(word.strip() for word in text.split(",") if word.strip()))


def make_batch(
    store: rec.Records, *, name: str, species: str, breeds: str, set_on: date, set_time: time, note: str = ""
) -> rec.Batch:
    """A new batch; the time of setting is this computer's local time.

    Raises
    ------
    UsageError
        If the name is missing.
    """
    if not name.strip():
        raise UsageError("Name: give the batch a name, such as Spring 1.")
    with store.write() as session:
        return rec.new_batch(
            session,
            name=name.strip(),
            species=species,
            breeds=words_of(breeds),
            set_at=datetime.combine(set_on, set_time).astimezone(),
            note=note.strip(),
        )


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
