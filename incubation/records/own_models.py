"""A person's own models and which one judges their eggs.

The model itself is a file in the data folder; the records hold its checksum and card, so that a
file that was changed or exchanged is found out. A choice is a row of its own, the newest in force:
which model judged when stays known.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from incubation.records import tables
from incubation.records.common import Row, add_row, checked_name, checked_note
from incubation.records.errors import RecordsError

MODEL_FOLDER = "models"
SHIPPED_NAME = "shipped"


@dataclass(frozen=True)
class OwnModel:
    """A model that was fitted to this data folder's eggs; ``card`` says on what and with which figures."""

    id: int
    name: str
    sha256: str
    card: Mapping[str, Any]
    who: str
    recorded_at: datetime


@dataclass(frozen=True)
class ModelChoice:
    """That from then on a model judges; ``model_id`` is ``None`` for the shipped one."""

    id: int
    model_id: int | None
    who: str
    note: str
    recorded_at: datetime


def model_path(folder: Path, name: str) -> Path:
    """Where the file of an own model lies in the data folder."""
    return folder / MODEL_FOLDER / f"{name}.json"


def own_models(session: Session) -> tuple[OwnModel, ...]:
    """All own models, the newest first."""
    rows = session.execute(select(tables.own_model).order_by(tables.own_model.c.id.desc())).mappings()
    return tuple(map(_own_model, rows))


def own_model_by_name(session: Session, name: str) -> OwnModel:
    """The own model of a name.

    Raises
    ------
    RecordsError
        Where there is none; it names those there are.
    """
    models = own_models(session)
    for model in models:
        if model.name == name.strip().lower():
            return model
    known = ", ".join([SHIPPED_NAME, *(model.name for model in models[:10])])
    raise RecordsError(f"There is no model {name!r}; there are: {known}.")


def next_own_name(session: Session) -> str:
    """A name that no own model has yet: ``own-1``, ``own-2`` and so on."""
    taken = {model.name for model in own_models(session)}
    number = len(taken) + 1
    while f"own-{number}" in taken:
        number += 1
    return f"own-{number}"


def add_own_model(session: Session, *, name: str, sha256: str, card: Mapping[str, Any], who: str) -> OwnModel:
    """Record an own model whose file lies in its place; it is not chosen by that.

    Raises
    ------
    RecordsError
        Where the name is taken, or the card cannot be kept.
    """
    if name in {SHIPPED_NAME, *(model.name for model in own_models(session))}:
        raise RecordsError(f"There is a model {name} already; train again.")
    try:
        text = json.dumps(dict(card), allow_nan=False, ensure_ascii=False, sort_keys=True)
    except (TypeError, ValueError) as error:
        raise RecordsError(f"The model's card cannot be kept ({error}).") from error
    key = add_row(
        session,
        tables.own_model,
        name=checked_name(name, "model's name"),
        sha256=sha256,
        card=text,
        who=checked_name(who, "name of the person who trains"),
    )
    query = select(tables.own_model).where(tables.own_model.c.id == key)
    return _own_model(session.execute(query).mappings().one())


def choose_model(session: Session, model: OwnModel | None, *, who: str, note: str = "") -> None:
    """From now on this model judges; ``None`` is the shipped one."""
    add_row(
        session,
        tables.model_choice,
        model_id=None if model is None else model.id,
        who=checked_name(who, "name of the person who chooses"),
        note=checked_note(note),
    )


def chosen_model(session: Session) -> OwnModel | None:
    """The own model that judges now; ``None`` is the shipped one."""
    newest = select(tables.model_choice.c.model_id).order_by(tables.model_choice.c.id.desc()).limit(1)
    model_id = session.scalar(newest)
    if model_id is None:
        return None
    query = select(tables.own_model).where(tables.own_model.c.id == model_id)
    return _own_model(session.execute(query).mappings().one())


def model_choices(session: Session) -> tuple[ModelChoice, ...]:
    """Every choice of a model, oldest first."""
    rows = session.execute(select(tables.model_choice).order_by(tables.model_choice.c.id)).mappings()
    return tuple(ModelChoice(**row) for row in rows)


def _own_model(row: Row) -> OwnModel:
    return OwnModel(card=json.loads(row["card"]), **{n: row[n] for n in _PLAIN})


_PLAIN = ("id", "name", "sha256", "who", "recorded_at")
