"""Turns a fault of the database into a sentence for the person."""

from __future__ import annotations

import sqlite3

from sqlalchemy.exc import DBAPIError, IntegrityError

from incubation.records.errors import RecordsError

_NOTHING = "nothing of this step was recorded"


def trouble(error: DBAPIError | sqlite3.Error, *, where: str, busy_seconds: float) -> RecordsError:
    """What to tell the person.

    Parameters
    ----------
    error
        The fault.
    where
        The database's file or address.
    busy_seconds
        How long another program was waited for.
    """
    text = str(error.orig if isinstance(error, DBAPIError) else error)
    low = text.lower()
    if "locked" in low or "busy" in low or "lock timeout" in low or "deadlock" in low:
        return RecordsError(
            f"The records in {where} are in use by another program (waited {busy_seconds:g} s), so "
            f"{_NOTHING}; try again when it has finished."
        )
    if "disk is full" in low or "no space" in low:
        return RecordsError(
            f"The disk with the records in {where} is full, so {_NOTHING}; make room on it and try again."
        )
    if "readonly" in low or "read-only" in low or "permission denied" in low:
        return RecordsError(
            f"The records in {where} may be read but not written, so {_NOTHING}; allow writing to the file "
            "and its folder."
        )
    if "unable to open" in low:
        return RecordsError(
            f"The records in {where} cannot be opened; see that its folder is there and may be written to."
        )
    if "connection" in low and any(word in low for word in ("refused", "failed", "closed", "timeout")):
        return RecordsError(
            f"The server of the records in {where} does not answer, so {_NOTHING}; see that it is running "
            "and that the address and password are right."
        )
    if "not a database" in low or "malformed" in low:
        return RecordsError(
            f"The file {where} is damaged or no database of Trayglow's; put a backup in its place, or move "
            "it away to begin anew."
        )
    if isinstance(error, IntegrityError) and "unique" in low and "replaces_id" in low:
        return RecordsError(
            f"Somebody else has just corrected the same entry, so {_NOTHING}; look at it again."
        )
    return RecordsError(
        f"The records in {where} could not be used ({' '.join(text.split())[:300]}), so {_NOTHING}."
    )
