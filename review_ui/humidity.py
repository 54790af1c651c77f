"""``trayglow humidity``: the water lost so far, where it will land, and which humidity to run."""

from __future__ import annotations

import argparse
import re
from datetime import UTC, datetime

from incubation.humidity_advice import HumidityAdvice, RoomAir
from incubation.records import batch_by_name
from incubation.water_loss_data import Estimate
from review_ui.cautions import UNPLUG
from review_ui.record_json import Json
from review_ui.record_options import add_record_options, answer, opened
from review_ui.services.batch_water import BatchWater, batch_water
from review_ui.text_table import table_text
from review_ui.typed_dates import moment_option
from review_ui.typed_numbers import both_units, celsius_option, percent_option


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "humidity",
        help="water lost, where it will land at lockdown, which humidity to run",
        description="From measured air cells, weighings and the log; every figure with a 90 %% interval.",
    )
    parser.add_argument("batch", metavar="BATCH")
    parser.add_argument("--eggs", action="store_true", help="also each egg")
    parser.add_argument(
        "--room",
        type=_room,
        metavar="T,RH",
        help="air of the room, such as 20,50: tells how dry the machine can get",
    )
    parser.add_argument("--at", type=moment_option, metavar="TIME", help="as of then (default: now)")
    add_record_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the advice; the exit status."""
    now = options.at or datetime.now(UTC)
    with opened(options) as records:
        with records.read() as session:
            batch = batch_by_name(session, options.batch)
            water = batch_water(session, batch, now=now, room=options.room)
        answer(options, water_json(water), water_text(water, eggs=options.eggs))
    return 0


def water_text(water: BatchWater, *, eggs: bool = False) -> str:
    """The advice as text."""
    if water.loss is None or water.advice is None:
        return f"{water.batch.name}: {water.reason}\n" + "".join(f"{remark}\n" for remark in water.remarks)
    loss = water.loss
    low, high = water.target
    rows = [
        ("lost so far, % of the mass at setting", *_cells(loss.so_far)),
        ("lost a day, %", *_cells(loss.per_day, 2)),
        (f"at lockdown (day {loss.lockdown_day:g}) if nothing changes, %", *_cells(loss.at_lockdown)),
    ]
    text = f"{water.batch.name}, day {loss.day:.1f}: aim {low:.1f} to {high:.1f} % by lockdown.\n"
    text += table_text(("", "best guess", "90 % between"), rows, numbers=(1,))
    text += f"From {loss.readings} air cells and {loss.weighings} weighings.\n"
    if water.norm is not None and water.place is not None:
        text += (
            f"Air cells on day {water.norm.day:g}: {water.place.place} (the mean is larger than that of "
            f"{water.place.percentile:.0f} of 100 eggs of a well-run batch).\n"
        )
    text += "\n" + advice_text(water.advice)
    if eggs:
        text += "\n" + _egg_table(water)
    return text + "".join(f"{remark}\n" for remark in water.remarks)


def advice_text(advice: HumidityAdvice) -> str:
    """What to do, in a line or two, then the reasons."""
    lines = [headline(advice)]
    if advice.action in ("raise", "lower") and advice.humidity is not None:
        wet_c = advice.wet_bulb_c
        lines.append(
            f"  true humidity {advice.humidity.value:.0f} %RH ({advice.humidity.low:.0f} to "
            f"{advice.humidity.high:.0f})"
            + ("" if wet_c is None else f", wet bulb {both_units(wet_c.value)}")
        )
        if advice.shown is not None:
            lines.append(f"  as your hygrometer will show it: {advice.shown.value:.0f} %")
    lines += [f"- {reason}" for reason in advice.reasons]
    return "\n".join(lines) + "\n" + (f"{UNPLUG}\n" if advice.action != "keep" else "")


def headline(advice: HumidityAdvice) -> str:
    """The advice in one sentence."""
    if advice.action == "lockdown":
        return "Too late to steer: raise the humidity for the hatch."
    if advice.action == "keep":
        return "Leave the humidity as it is" + (", and weigh a tray." if advice.weigh else ".")
    word = "Raise" if advice.action == "raise" else "Lower"
    to = advice.shown or advice.humidity
    about = "" if to is None else f" to about {to.value:.0f} %RH"
    first = advice.next_step_percent
    step = "" if first is None else f"; run {first:.0f} %RH for the first day"
    return f"{word} the humidity{about}{step}."


def _cells(estimate: Estimate, digits: int = 1) -> tuple[str, str]:
    return f"{estimate.value:.{digits}f}", f"{estimate.low:.{digits}f} and {estimate.high:.{digits}f}"


def _egg_table(water: BatchWater) -> str:
    assert water.loss is not None
    rows = [
        (
            water.names.get(egg.egg, egg.egg),
            *_cells(egg.so_far),
            f"{egg.at_lockdown.value:.1f}",
            f"{egg.percentile:.0f}",
            egg.odd,
        )
        for egg in water.loss.eggs
    ]
    return table_text(
        ("egg", "lost %", "90 % between", "at lockdown", "of 100 in this batch", "look at"),
        rows,
        numbers=(1, 3, 4),
    )


def water_json(water: BatchWater) -> Json:
    """All of it, for scripts."""
    loss, advice = water.loss, water.advice
    document: Json = {
        "batch": water.batch.name,
        "target_percent": list(water.target),
        "reason": water.reason,
        "remarks": list(water.remarks),
        "loss": None,
        "advice": None,
    }
    if loss is not None and advice is not None:
        document["loss"] = {
            "day": loss.day,
            "lockdown_day": loss.lockdown_day,
            "so_far": _json(loss.so_far),
            "per_day": _json(loss.per_day),
            "at_lockdown": _json(loss.at_lockdown),
            "readings": loss.readings,
            "weighings": loss.weighings,
            "eggs": [
                {
                    "egg": water.names.get(egg.egg, egg.egg),
                    "so_far": _json(egg.so_far),
                    "at_lockdown": _json(egg.at_lockdown),
                    "percentile": egg.percentile,
                    "odd": egg.odd,
                }
                for egg in loss.eggs
            ],
        }
        document["advice"] = {
            "action": advice.action,
            "headline": headline(advice),
            "humidity": _json(advice.humidity),
            "shown": _json(advice.shown),
            "wet_bulb_c": _json(advice.wet_bulb_c),
            "wet_bulb_f": _json(advice.wet_bulb_f),
            "change_points": _json(advice.change_points),
            "next_step_percent": advice.next_step_percent,
            "unreachable": advice.unreachable,
            "weigh": advice.weigh,
            "weighing_narrows_to": advice.weighing_narrows_to,
            "reasons": list(advice.reasons),
        }
    return document


def _json(estimate: Estimate | None) -> Json | None:
    if estimate is None:
        return None
    return {"value": estimate.value, "low": estimate.low, "high": estimate.high}


def _room(text: str) -> RoomAir:
    found = re.fullmatch(r"\s*([^,;]+)[,;]\s*([^,;]+)\s*", text)
    if found is None:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no air of a room; give its temperature and humidity: 20,50"
        )
    return RoomAir(celsius_option(found.group(1)), percent_option(found.group(2)))
