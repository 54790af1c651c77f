"""Small records for the tests of the records, candling and its commands."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from typing import Any

from incubation import records as rec

OWN_MODEL = b'{"weights": [1.5]}'  # a file of this name and content, not one that judges
SET_AT = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def measured(
    status: str = "developing",
    chance: float = 0.97,
    decision: str = "pass",
    *,
    veins: bool | None = True,
    depth: float | None = None,
    confidence: float = 0.9,
    usable: bool = True,
    cup: str | None = None,
    reasons: tuple[str, ...] = ("veins found",),
) -> dict[str, Any]:
    """An egg's entry as in the results of ``trayglow examine``."""
    rest = (1 - chance) / 2
    chances = dict.fromkeys(("clear", "early death", "developing"), rest) | {status: chance}
    cell = None
    if depth is not None:
        cell = {
            "depth_fraction": depth,
            "diameter_fraction": 0.6,
            "volume_fraction": 0.05,
            "tilt_deg": 1.0,
            "boundary_px": [[1.0, 2.0], [3.0, 4.0]],
            "confidence": confidence,
        }
    return {
        "cup": cup,
        "outline": {
            "centre_px": [50.0, 60.0],
            "length_px": 57.0,
            "breadth_px": 42.0,
            "axis_deg": 90.0,
            "long_axis_deg": 90.0,
            "polygon_px": [[50.0, 31.5], [71.0, 60.0], [50.0, 88.5]],
        },
        "quality": {"usable": usable, "problems": [] if usable else ["blurred"]},
        "air_cell": cell,
        "veins": {"visible": veins, "length_per_area": None, "area_fraction": None},
        "embryo": {"visible": None, "area_fraction": None, "centre_px": None},
        "apparent_day": {"day": 7.2, "low": 5.0, "high": 9.4},
        "proposal": {
            "status": status,
            "probability": chances,
            "decision": decision,
            "reasons": list(reasons),
        },
        "missing": {},
    }


def new_tray(
    records: rec.Records, *, name: str = "Spring", rows: int = 2, columns: int = 3
) -> tuple[rec.Batch, rec.Tray, tuple[rec.Egg, ...]]:
    """A batch with one tray, an egg in every cup."""
    with records.write() as session:
        batch = rec.new_batch(session, name=name, species="chicken", set_at=SET_AT)
        tray = rec.add_tray(session, batch.id, name="1", rows=rows, columns=columns)
        return batch, tray, rec.fill_tray(session, tray.id)


def add_look(
    records: rec.Records,
    egg: rec.Egg,
    entry: dict[str, Any] | None = None,
    *,
    day: float = 7,
    photo: bytes = b"p",
) -> rec.Look:
    """A reading of an egg with its photo."""
    with records.write() as session:
        kept = rec.store_photo(session, photo, name="egg.jpg")
        return rec.add_reading(
            session,
            egg_id=egg.id,
            photo_id=kept.id,
            day=day,
            view="side",
            model="m1",
            measured=entry or measured(),
        )


@dataclass(frozen=True)
class WholeBatch:
    """A batch of which something is recorded in every table."""

    batch: rec.Batch
    tray: rec.Tray
    eggs: tuple[rec.Egg, ...]
    machine: rec.Machine
    thermometer: rec.Instrument
    hygrometer: rec.Instrument
    lot: rec.EggLot
    look: rec.Look


def whole_batch(records: rec.Records, *, name: str = "Spring", photo: bytes = b"p") -> WholeBatch:
    """A batch from the box to the chicks, with a few corrections, and at least one row in every table."""
    batch, tray, eggs = new_tray(records, name=name)
    look = add_look(records, eggs[0], measured("clear", 0.9, "confirm", veins=False), photo=photo)
    day = [SET_AT + timedelta(days=number) for number in range(23)]
    with records.write() as session:
        machine = rec.add_machine(
            session, name=f"Cabinet {name}", air="forced air", form="cabinet", shelves=3, altitude_m=410
        )
        thermometer = rec.add_instrument(
            session, name=f"T {name}", measures="temperature", machine_id=machine.id
        )
        hygrometer = rec.add_instrument(session, name=f"H {name}", measures="humidity", machine_id=machine.id)
        rec.add_instrument_check(
            session,
            hygrometer.id,
            method="saturated salt",
            reference_value=75.3,
            reference_uncertainty=0.5,
            shown_value=72.0,
            who="Ann",
            at=day[0],
        )
        rec.place_tray(session, tray.id, machine.id, shelf=2, who="Ann", at=day[0])
        rec.place_tray(session, tray.id, machine.id, shelf=1, who="Ann", at=day[9])
        lot = rec.add_lot(
            session,
            batch.id,
            name="Pen 3",
            origin="own flock",
            pen="3",
            sire="S1",
            laid_from=date(2026, 2, 22),
            laid_to=date(2026, 2, 28),
            storage_temperature_c=14.5,
        )
        rec.assign_lot(session, lot.id, [egg.id for egg in eggs], who="Ann")
        rec.set_egg_detail(
            session, eggs[0].id, who="Bob", mass_g=58.2, length_mm=57.0, breadth_mm=43.0, findings=["dirty"]
        )
        form = rec.add_logger_format(
            session, name="box", signature="t;c;rh", mapping={"at": "t", "temperature_c": "c"}, who="Ann"
        )
        rec.import_log(
            session,
            machine.id,
            [rec.LogRow(day[1] + timedelta(hours=hour), 37.6, 52.0) for hour in range(4)],
            file_name="log.csv",
            sha256="b" * 64,
            who="Ann",
            format_id=form.id,
            thermometer_id=thermometer.id,
            hygrometer_id=hygrometer.id,
        )
        noted = rec.add_log_entry(
            session, machine.id, who="Ann", at=day[2], temperature_c=37.9, wet_bulb_c=29.5, turns=3
        )
        rec.correct_log_entry(session, noted.id, who="Bob", temperature_c=37.4, event="=power cut")
        rec.add_weighing(
            session,
            tray_id=tray.id,
            gross_g=1348.5,
            tare_g=1000,
            eggs_on=6,
            balance_g=0.5,
            who="A",
            at=day[0],
        )
        rec.add_weighing(session, egg_id=eggs[0].id, gross_g=56.1, balance_g=0.1, who="Ann", at=day[6])
        rec.add_batch_event(session, batch.id, "lockdown", who="Ann", at=day[18])
        rec.put_in_basket(session, [egg.id for egg in eggs[:3]], "Red", who="Ann", at=day[18])
        rec.add_chick(session, batch.id, basket="Red", mark="R1", hatched_at=day[21])
        rec.add_swap_answer(session, look.reading.id, "same egg", who="Ann")
        call = rec.add_call(session, eggs[3].id, "clear", who="Ann", at=day[7])
        rec.undo_call(session, eggs[3].id, who="Ann", call_id=call.id, at=day[7])
        rec.add_call(session, eggs[0].id, "clear", who="Ann", proposal_id=look.proposal.id, at=day[7])
        rec.tick_pulled(session, eggs[0].id, who="Ann", at=day[7])
        rec.add_outcome(session, eggs[0].id, "ring", who="Ann", embryo_day=4, at=day[7])
        rec.add_outcome(session, eggs[1].id, "hatched", who="Ann", signs=["helped"], at=day[21])
        own_name = rec.next_own_name(session)
        path = rec.model_path(records.folder, own_name)
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(OWN_MODEL)
        own = rec.add_own_model(
            session, name=own_name, sha256=sha256(OWN_MODEL).hexdigest(), card={"eggs": 6}, who="Ann"
        )
        rec.choose_model(session, own, who="Ann")
    return WholeBatch(batch, tray, eggs, machine, thermometer, hygrometer, lot, look)
