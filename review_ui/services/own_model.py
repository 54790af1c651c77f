"""Which model judges the eggs of this data folder: looked up, kept, and put back."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from incubation.records import (
    SHIPPED_NAME,
    OwnModel,
    Records,
    add_own_model,
    choose_model,
    chosen_model,
    model_path,
    next_own_name,
    own_model_by_name,
)
from models.judge import MODEL_NAME
from models.model_files import ModelFileError
from models.own_model import Correction, ModelInUse, own_model_bytes
from review_ui.errors import UsageError
from review_ui.output_files import replaced_file, why


def recorded_name(own: OwnModel | None) -> str:
    """The name that stands with each reading: the shipped model's, and the own one's on top of it."""
    return MODEL_NAME if own is None else f"{MODEL_NAME}+{own.name}"


def model_in_use(records: Records) -> ModelInUse:
    """The model that judges now, its file checked.

    Raises
    ------
    UsageError
        Where the file must not be used: it was changed, or belongs to another version.
    """
    with records.read() as session:
        own = chosen_model(session)
    return checked(records, own)


def checked(records: Records, own: OwnModel | None) -> ModelInUse:
    """A model that may be used.

    Raises
    ------
    UsageError
        As for :func:`model_in_use`.
    """
    if own is None:
        return ModelInUse(MODEL_NAME)
    model = ModelInUse(recorded_name(own), model_path(records.folder, own.name), own.sha256)
    try:
        model.heads()
    except ModelFileError as error:
        raise UsageError(str(error)) from error
    return model


def keep_model(
    records: Records, correction: Correction, *, card: Mapping[str, Any], who: str, note: str = ""
) -> OwnModel:
    """Write an own model's file, record its checksum, and let it judge from now on.

    The file is whole on the disk before it is recorded; the models before it stay.

    Raises
    ------
    UsageError
        Where the file cannot be written; nothing is recorded then.
    """
    with records.write() as session:
        name = next_own_name(session)
        data = own_model_bytes(correction, name=name, card=card)
        path = model_path(records.folder, name)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with replaced_file(path) as file:
                file.write(data)
        except OSError as error:
            raise UsageError(
                f"The model could not be kept in {path.parent} ({why(error)}); make room there or allow "
                "writing, and train again."
            ) from error
        sha256 = hashlib.sha256(data).hexdigest()
        own = add_own_model(session, name=name, sha256=sha256, card=card, who=who)
        choose_model(session, own, who=who, note=note)
    return own


def restore_model(records: Records, name: str, *, who: str) -> str:
    """Let an earlier model, or ``shipped``, judge from now on; a sentence that says so.

    Raises
    ------
    UsageError
        Where its file must not be used.
    RecordsError
        Where there is none of that name.
    """
    with records.write() as session:
        own = None if name.strip().lower() == SHIPPED_NAME else own_model_by_name(session, name)
        before = chosen_model(session)
        if own == before:
            return f"{'The shipped model' if own is None else own.name} is in use already."
        checked(records, own)
        choose_model(session, own, who=who, note="restored")
    return f"From now on {'the shipped model' if own is None else own.name} judges your eggs."
