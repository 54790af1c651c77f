"""A line of the log as it was typed on a screen or a command line: read, questioned, recorded."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from incubation.log_checks import questions_about
from incubation.records import LogEntry, Machine, QuestionedError, Records, add_log_entry
from review_ui.errors import UsageError
from review_ui.typed_numbers import both_units, celsius_option, number_option, percent_option


@dataclass(frozen=True)
class TypedEntry:
    """What was typed, as text; empty where nothing was."""

    temperature: str = ""
    humidity: str = ""
    wet_bulb: str = ""
    turns: str = ""
    water: str = ""
    event: str = ""
    note: str = ""


def asked_about(**entry: Any) -> str:
    """What to ask back about an entry; empty for nothing. It takes what ``questions_about`` does.

    Raises
    ------
    UsageError
        Where something cannot be.
    """
    found = questions_about(**entry)
    if stopping := [question.text for question in found if question.impossible]:
        raise UsageError(" ".join(stopping) + " Nothing was noted.")
    return " ".join(question.text for question in found)


def entry_words(entry: LogEntry) -> str:
    """A line of the log in words, as its instruments showed it."""
    parts = [
        both_units(entry.temperature_c),
        None if entry.humidity_percent is None else f"{entry.humidity_percent:g} %RH",
        None if entry.wet_bulb_c is None else f"wet bulb {both_units(entry.wet_bulb_c)}",
        None if entry.turns is None else f"{entry.turns} turns",
        None if entry.water_ml is None else f"{entry.water_ml:g} mL of water",
        entry.event,
        entry.note,
    ]
    return ", ".join(part for part in parts if part)


def record_typed(
    store: Records, machine: Machine, typed: TypedEntry, *, who: str, now: datetime, insist: bool = False
) -> None:
    """Record a line as typed, now.

    Raises
    ------
    UsageError
        Where something is no number or cannot be; nothing is recorded then.
    QuestionedError
        Where it is hardly possible and not insisted on.
    """
    try:
        temperature = celsius_option(typed.temperature) if typed.temperature.strip() else None
        humidity = percent_option(typed.humidity) if typed.humidity.strip() else None
        wet_bulb = celsius_option(typed.wet_bulb) if typed.wet_bulb.strip() else None
        turns = int(number_option(typed.turns)) if typed.turns.strip() else None
        water = number_option(typed.water) if typed.water.strip() else None
    except argparse.ArgumentTypeError as error:
        raise UsageError(f"{error}. Nothing was noted.") from error
    asked = asked_about(
        temperature_c=temperature,
        humidity_percent=humidity,
        wet_bulb_c=wet_bulb,
        turns=turns,
        water_ml=water,
        at=now,
        now=now,
    )
    if asked and not insist:
        raise QuestionedError(asked)
    with store.write() as session:
        add_log_entry(
            session,
            machine.id,
            who=who,
            at=now,
            insist=insist,
            temperature_c=temperature,
            humidity_percent=humidity,
            wet_bulb_c=wet_bulb,
            turns=turns,
            water_ml=water,
            event=typed.event,
            note=typed.note,
        )
