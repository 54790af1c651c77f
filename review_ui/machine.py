"""``trayglow machine``: the incubators, and which trays stand in them."""

from __future__ import annotations

import argparse
from typing import Any

from incubation.records import (
    Machine,
    add_machine,
    batch_by_name,
    correct_machine,
    list_machines,
    machine_by_name,
    place_tray,
    tray_by_id,
    trays_in,
)
from review_ui.record_json import Json
from review_ui.record_options import (
    add_record_options,
    add_who_option,
    answer,
    chosen_tray,
    opened,
    who,
)
from review_ui.text_table import table_text
from review_ui.typed_dates import moment_option
from review_ui.typed_numbers import number_option

_AIR = {"forced": "forced air", "still": "still air"}


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser("machine", help="record incubators, and put trays into them")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)

    add = actions.add_parser("add", help="record a machine")
    add.add_argument("name", metavar="NAME", help="what you call it")
    add.add_argument("--air", choices=_AIR, required=True, help="forced: it has a fan; still: it has none")
    add.add_argument(
        "--form", choices=("tabletop", "cabinet"), default="tabletop", help="(default: tabletop)"
    )
    add.add_argument("--shelves", type=int, default=1, metavar="N", help="counted from the top (default: 1)")
    add.set_defaults(run=_add)

    change = actions.add_parser("change", help="correct what was recorded of a machine")
    change.add_argument("name", metavar="NAME")
    change.add_argument("--rename", metavar="NAME", help="its new name")
    change.add_argument("--air", choices=_AIR)
    change.add_argument("--form", choices=("tabletop", "cabinet"))
    change.add_argument("--shelves", type=int, metavar="N")
    change.set_defaults(run=_change)
    for action in (add, change):
        action.add_argument(
            "--altitude",
            type=number_option,
            metavar="M",
            help="metres above the sea; eggs dry faster up there",
        )
        action.add_argument("--note", metavar="TEXT", help="anything else")

    listing = actions.add_parser("list", help="list the machines and the trays in them")
    listing.set_defaults(run=_list)

    put = actions.add_parser("put", help="put a tray into a machine, or onto another shelf")
    put.add_argument("batch", metavar="BATCH")
    put.add_argument("machine", metavar="MACHINE")
    put.add_argument("--tray", metavar="NAME", help="may be left out where the batch has one")
    put.add_argument("--shelf", type=int, metavar="N", help="counted from the top")
    put.set_defaults(run=_put)

    take = actions.add_parser("take", help="record that a tray was taken out of its machine")
    take.add_argument("batch", metavar="BATCH")
    take.add_argument("--tray", metavar="NAME", help="may be left out where the batch has one")
    take.set_defaults(run=_put, machine=None, shelf=None)
    for action in (put, take):
        action.add_argument("--at", type=moment_option, metavar="TIME", help="when (default: now)")
        add_who_option(action)
    for action in (add, change, listing, put, take):
        add_record_options(action)


def _add(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.write() as session:
            machine = add_machine(
                session,
                name=options.name,
                air=_AIR[options.air],
                form=options.form,
                shelves=options.shelves,
                altitude_m=options.altitude,
                note=options.note or "",
            )
        answer(
            options,
            {"machine": machine_json(machine)},
            f"Recorded {_line(machine)}\nNote its temperature with: trayglow log add 37.6 45\n",
        )
    return 0


def _change(options: argparse.Namespace) -> int:
    changed: dict[str, Any] = {
        "name": options.rename,
        "air": _AIR.get(options.air),
        "form": options.form,
        "shelves": options.shelves,
        "altitude_m": options.altitude,
        "note": options.note,
    }
    with opened(options) as records:
        with records.write() as session:
            machine = correct_machine(
                session,
                machine_by_name(session, options.name).id,
                **{name: value for name, value in changed.items() if value is not None},
            )
        answer(options, {"machine": machine_json(machine)}, f"Now {_line(machine)}\n")
    return 0


def _list(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.read() as session:
            machines = list_machines(session)
            trays = {
                machine.id: [
                    (tray_by_id(session, tray_id), place.shelf)
                    for tray_id, place in trays_in(session, machine.id).items()
                ]
                for machine in machines
            }
        rows = [
            (
                machine.name,
                machine.air,
                machine.form,
                machine.shelves,
                None if machine.altitude_m is None else f"{machine.altitude_m:.0f} m",
                ", ".join(
                    tray.name + (f" (shelf {shelf})" if shelf is not None else "")
                    for tray, shelf in trays[machine.id]
                )
                or None,
            )
            for machine in machines
        ]
        text = table_text(("machine", "air", "form", "shelves", "altitude", "trays"), rows, numbers=(3, 4))
        answer(
            options,
            {
                "machines": [
                    machine_json(machine)
                    | {"trays": [{"tray": tray.name, "shelf": shelf} for tray, shelf in trays[machine.id]]}
                    for machine in machines
                ]
            },
            text
            if machines
            else "No machine is recorded yet; add one with: trayglow machine add NAME --air forced\n",
        )
    return 0


def _put(options: argparse.Namespace) -> int:
    with opened(options) as records:
        with records.write() as session:
            tray = chosen_tray(session, batch_by_name(session, options.batch), options.tray)
            machine = None if options.machine is None else machine_by_name(session, options.machine)
            place = place_tray(
                session,
                tray.id,
                None if machine is None else machine.id,
                shelf=options.shelf,
                at=options.at,
                who=who(options),
            )
        where = "in no machine" if machine is None else f"in {machine.name}"
        if place.shelf is not None:
            where += f", shelf {place.shelf}"
        answer(
            options,
            {"tray": tray.name, "machine": machine and machine.name, "shelf": place.shelf}
            | {"at": place.at.isoformat(timespec="seconds")},
            f"Tray {tray.name} is {where} from {place.at.astimezone():%Y-%m-%d %H:%M}.\n",
        )
    return 0


def machine_json(machine: Machine) -> Json:
    """A machine, for scripts."""
    return {
        "name": machine.name,
        "air": machine.air,
        "form": machine.form,
        "shelves": machine.shelves,
        "altitude_m": machine.altitude_m,
        "note": machine.note,
    }


def _line(machine: Machine) -> str:
    shelves = f", {machine.shelves} shelves" if machine.shelves > 1 else ""
    altitude = "" if machine.altitude_m is None else f", {machine.altitude_m:.0f} m above the sea"
    return f"{machine.name}: {machine.form}, {machine.air}{shelves}{altitude}."
