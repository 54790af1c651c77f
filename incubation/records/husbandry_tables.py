"""The tables of what is done around the candling: machines, instruments, lots, log, weighings, hatch.

Readings of instruments are kept as they were shown; what an instrument is known to be off by is
reckoned with later, never written over them.
"""

from __future__ import annotations

from sqlalchemy import Boolean, CheckConstraint, Column, Float, Index, Integer, String, Table, Text

from incubation.records.table_parts import UtcTime, key, metadata, recorded, refers, replaces, text

machine = Table(
    "machine",
    metadata,
    key(),
    refers("first_id", "machine", nullable=True),
    *replaces("machine"),
    Column("name", Text, nullable=False),
    Column("air", Text, nullable=False),
    Column("form", Text, nullable=False),
    Column("shelves", Integer, nullable=False),
    Column("altitude_m", Float),
    text("note"),
    recorded(),
    CheckConstraint("air IN ('still air', 'forced air')", name="air"),
    CheckConstraint("form IN ('tabletop', 'cabinet')", name="form"),
    CheckConstraint("shelves >= 1", name="shelves"),
)

instrument = Table(
    "instrument",
    metadata,
    key(),
    refers("first_id", "instrument", nullable=True),
    *replaces("instrument"),
    Column("name", Text, nullable=False),
    Column("measures", Text, nullable=False),
    refers("machine_id", "machine", nullable=True),
    text("note"),
    recorded(),
    CheckConstraint("measures IN ('temperature', 'humidity', 'wet bulb')", name="measures"),
)

instrument_check = Table(
    "instrument_check",
    metadata,
    key(),
    *replaces("instrument_check"),
    refers("instrument_id", "instrument", index=False),
    Column("method", Text, nullable=False),
    Column("reference_value", Float, nullable=False),
    Column("reference_uncertainty", Float, nullable=False),
    Column("shown_value", Float, nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("who", Text, nullable=False),
    text("note"),
    Column("withdrawn", Boolean, nullable=False),
    recorded(),
    CheckConstraint("method IN ('ice point', 'reference', 'saturated salt')", name="method"),
    CheckConstraint("reference_uncertainty >= 0", name="uncertainty"),
    Index(None, "instrument_id", "at"),
)

# Where a tray is from a time on; the newest time up to a moment tells where it was then.
tray_place = Table(
    "tray_place",
    metadata,
    key(),
    *replaces("tray_place"),
    refers("tray_id", "tray", index=False),
    refers("machine_id", "machine", nullable=True),
    Column("shelf", Integer),
    Column("at", UtcTime, nullable=False),
    Column("who", Text, nullable=False),
    recorded(),
    CheckConstraint("shelf IS NULL OR (shelf >= 1 AND machine_id IS NOT NULL)", name="shelf"),
    Index(None, "tray_id", "at"),
)

egg_lot = Table(
    "egg_lot",
    metadata,
    key(),
    refers("first_id", "egg_lot", nullable=True),
    *replaces("egg_lot"),
    refers("batch_id", "batch"),
    Column("name", Text, nullable=False),
    Column("origin", Text, nullable=False),
    text("pen"),
    text("sire"),
    text("dam"),
    Column("laid_from", Text),  # a date, as 2026-03-01
    Column("laid_to", Text),
    Column("storage_temperature_c", Float),
    Column("eggs_sent", Integer),
    Column("eggs_broken", Integer),
    Column("arrived_at", UtcTime),
    Column("rest_hours", Float),
    text("note"),
    recorded(),
    CheckConstraint("origin IN ('own flock', 'shipped')", name="origin"),
    CheckConstraint("eggs_sent IS NULL OR eggs_sent >= 0", name="eggs_sent"),
    CheckConstraint("eggs_broken IS NULL OR eggs_broken >= 0", name="eggs_broken"),
)

egg_detail = Table(
    "egg_detail",
    metadata,
    key(),
    *replaces("egg_detail"),
    refers("egg_id", "egg"),
    refers("lot_id", "egg_lot", nullable=True),
    Column("laid_on", Text),  # a date
    Column("mass_g", Float),
    Column("length_mm", Float),
    Column("breadth_mm", Float),
    text("pen"),
    text("sire"),
    text("dam"),
    Column("findings", Text, nullable=False),  # JSON list of what was found on choosing
    Column("who", Text, nullable=False),
    recorded(),
    CheckConstraint("mass_g > 0 AND length_mm > 0 AND breadth_mm > 0", name="size"),
)

logger_format = Table(
    "logger_format",
    metadata,
    key(),
    Column("name", Text, nullable=False),
    Column("signature", Text, nullable=False),  # tells files of this kind by their header
    Column("mapping", Text, nullable=False),  # JSON: which column is what, in which unit
    Column("who", Text, nullable=False),
    recorded(),
    Index(None, "signature"),
)

log_import = Table(
    "log_import",
    metadata,
    key(),
    refers("machine_id", "machine"),
    Column("file_name", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    refers("format_id", "logger_format", nullable=True),
    Column("rows_taken", Integer, nullable=False),
    Column("rows_known", Integer, nullable=False),
    Column("who", Text, nullable=False),
    recorded(),
)

log_entry = Table(
    "log_entry",
    metadata,
    key(),
    *replaces("log_entry"),
    refers("machine_id", "machine", index=False),
    Column("at", UtcTime, nullable=False),
    Column("temperature_c", Float),  # these three as the instruments showed them
    Column("humidity_percent", Float),
    Column("wet_bulb_c", Float),
    refers("thermometer_id", "instrument", nullable=True),
    refers("hygrometer_id", "instrument", nullable=True),
    Column("turns", Integer),
    Column("water_ml", Float),
    text("event"),
    text("note"),
    Column("who", Text, nullable=False),
    refers("import_id", "log_import", nullable=True),
    Column("withdrawn", Boolean, nullable=False),
    recorded(),
    CheckConstraint("turns IS NULL OR turns >= 0", name="turns"),
    CheckConstraint("water_ml IS NULL OR water_ml >= 0", name="water"),
    Index(None, "machine_id", "at"),
)

weighing = Table(
    "weighing",
    metadata,
    key(),
    *replaces("weighing"),
    refers("tray_id", "tray", nullable=True, index=False),
    refers("egg_id", "egg", nullable=True, index=False),
    Column("gross_g", Float, nullable=False),
    Column("tare_g", Float, nullable=False),
    Column("eggs_on", Integer),
    Column("balance_g", Float),  # the smallest step that the balance shows
    Column("at", UtcTime, nullable=False),
    Column("who", Text, nullable=False),
    text("note"),
    Column("withdrawn", Boolean, nullable=False),
    recorded(),
    CheckConstraint("(tray_id IS NULL) <> (egg_id IS NULL)", name="one"),
    CheckConstraint("tare_g >= 0 AND gross_g > tare_g", name="mass"),
    CheckConstraint("eggs_on IS NULL OR eggs_on >= 1", name="eggs_on"),
    Index(None, "tray_id", "at"),
    Index(None, "egg_id", "at"),
)

# An empty basket: taken out of it again.
hatch_basket = Table(
    "hatch_basket",
    metadata,
    key(),
    *replaces("hatch_basket"),
    refers("egg_id", "egg"),
    text("basket"),
    Column("at", UtcTime, nullable=False),
    Column("who", Text, nullable=False),
    recorded(),
)

chick = Table(
    "chick",
    metadata,
    key(),
    refers("first_id", "chick", nullable=True),
    *replaces("chick"),
    refers("batch_id", "batch"),
    refers("egg_id", "egg", nullable=True),
    text("basket"),
    text("mark"),
    Column("hatched_at", UtcTime),
    text("note"),
    Column("withdrawn", Boolean, nullable=False),
    recorded(),
)

batch_event = Table(
    "batch_event",
    metadata,
    key(),
    *replaces("batch_event"),
    refers("batch_id", "batch", index=False),
    Column("kind", Text, nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("who", Text, nullable=False),
    text("note"),
    Column("withdrawn", Boolean, nullable=False),
    recorded(),
    CheckConstraint("kind IN ('lockdown', 'turning stopped', 'hatch ended', 'note')", name="kind"),
    Index(None, "batch_id", "at"),
)
