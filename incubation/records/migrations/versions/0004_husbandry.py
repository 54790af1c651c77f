"""Machines, instruments, lots, details of eggs, log, weighings, baskets, chicks and events of a batch.

What was found in an egg gains the signs that were seen with it. Rows are only added to.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from incubation.records.migrations.refusals import refuse_changes
from incubation.records.tables import UtcTime

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_TABLES = (
    "logger_format",
    "machine",
    "batch_event",
    "egg_lot",
    "instrument",
    "log_import",
    "instrument_check",
    "log_entry",
    "tray_place",
    "chick",
    "egg_detail",
    "hatch_basket",
    "weighing",
)


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "logger_format",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("signature", sa.Text(), nullable=False),
        sa.Column("mapping", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_logger_format")),
    )
    op.create_index(op.f("ix_logger_format_signature"), "logger_format", ["signature"])
    op.create_table(
        "machine",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("first_id", sa.Integer(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("air", sa.Text(), nullable=False),
        sa.Column("form", sa.Text(), nullable=False),
        sa.Column("shelves", sa.Integer(), nullable=False),
        sa.Column("altitude_m", sa.Float(), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint("air IN ('still air', 'forced air')", name=op.f("ck_machine_air")),
        sa.CheckConstraint("form IN ('tabletop', 'cabinet')", name=op.f("ck_machine_form")),
        sa.CheckConstraint("shelves >= 1", name=op.f("ck_machine_shelves")),
        sa.ForeignKeyConstraint(["first_id"], ["machine.id"], name=op.f("fk_machine_first_id")),
        sa.ForeignKeyConstraint(["replaces_id"], ["machine.id"], name=op.f("fk_machine_replaces_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_machine")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_machine_replaces_id")),
    )
    op.create_index(op.f("ix_machine_first_id"), "machine", ["first_id"])
    op.create_table(
        "batch_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('lockdown', 'turning stopped', 'hatch ended', 'note')", name=op.f("ck_batch_event_kind")
        ),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"], name=op.f("fk_batch_event_batch_id")),
        sa.ForeignKeyConstraint(["replaces_id"], ["batch_event.id"], name=op.f("fk_batch_event_replaces_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batch_event")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_batch_event_replaces_id")),
    )
    op.create_index(op.f("ix_batch_event_batch_id_at"), "batch_event", ["batch_id", "at"])
    op.create_table(
        "egg_lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("first_id", sa.Integer(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("origin", sa.Text(), nullable=False),
        sa.Column("pen", sa.Text(), server_default="", nullable=False),
        sa.Column("sire", sa.Text(), server_default="", nullable=False),
        sa.Column("dam", sa.Text(), server_default="", nullable=False),
        sa.Column("laid_from", sa.Text(), nullable=True),
        sa.Column("laid_to", sa.Text(), nullable=True),
        sa.Column("storage_temperature_c", sa.Float(), nullable=True),
        sa.Column("eggs_sent", sa.Integer(), nullable=True),
        sa.Column("eggs_broken", sa.Integer(), nullable=True),
        sa.Column("arrived_at", UtcTime(), nullable=True),
        sa.Column("rest_hours", sa.Float(), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint("origin IN ('own flock', 'shipped')", name=op.f("ck_egg_lot_origin")),
        sa.CheckConstraint("eggs_broken IS NULL OR eggs_broken >= 0", name=op.f("ck_egg_lot_eggs_broken")),
        sa.CheckConstraint("eggs_sent IS NULL OR eggs_sent >= 0", name=op.f("ck_egg_lot_eggs_sent")),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"], name=op.f("fk_egg_lot_batch_id")),
        sa.ForeignKeyConstraint(["first_id"], ["egg_lot.id"], name=op.f("fk_egg_lot_first_id")),
        sa.ForeignKeyConstraint(["replaces_id"], ["egg_lot.id"], name=op.f("fk_egg_lot_replaces_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_egg_lot")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_egg_lot_replaces_id")),
    )
    op.create_index(op.f("ix_egg_lot_batch_id"), "egg_lot", ["batch_id"])
    op.create_index(op.f("ix_egg_lot_first_id"), "egg_lot", ["first_id"])
    op.create_table(
        "instrument",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("first_id", sa.Integer(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("measures", sa.Text(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint(
            "measures IN ('temperature', 'humidity', 'wet bulb')", name=op.f("ck_instrument_measures")
        ),
        sa.ForeignKeyConstraint(["first_id"], ["instrument.id"], name=op.f("fk_instrument_first_id")),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_instrument_machine_id")),
        sa.ForeignKeyConstraint(["replaces_id"], ["instrument.id"], name=op.f("fk_instrument_replaces_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instrument")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_instrument_replaces_id")),
    )
    op.create_index(op.f("ix_instrument_first_id"), "instrument", ["first_id"])
    op.create_index(op.f("ix_instrument_machine_id"), "instrument", ["machine_id"])
    op.create_table(
        "log_import",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("format_id", sa.Integer(), nullable=True),
        sa.Column("rows_taken", sa.Integer(), nullable=False),
        sa.Column("rows_known", sa.Integer(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["format_id"], ["logger_format.id"], name=op.f("fk_log_import_format_id")),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_log_import_machine_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_log_import")),
    )
    op.create_index(op.f("ix_log_import_format_id"), "log_import", ["format_id"])
    op.create_index(op.f("ix_log_import_machine_id"), "log_import", ["machine_id"])
    op.create_table(
        "instrument_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("reference_value", sa.Float(), nullable=False),
        sa.Column("reference_uncertainty", sa.Float(), nullable=False),
        sa.Column("shown_value", sa.Float(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint(
            "method IN ('ice point', 'reference', 'saturated salt')", name=op.f("ck_instrument_check_method")
        ),
        sa.CheckConstraint("reference_uncertainty >= 0", name=op.f("ck_instrument_check_uncertainty")),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instrument.id"], name=op.f("fk_instrument_check_instrument_id")
        ),
        sa.ForeignKeyConstraint(
            ["replaces_id"], ["instrument_check.id"], name=op.f("fk_instrument_check_replaces_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instrument_check")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_instrument_check_replaces_id")),
    )
    op.create_index(op.f("ix_instrument_check_instrument_id_at"), "instrument_check", ["instrument_id", "at"])
    op.create_table(
        "log_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("temperature_c", sa.Float(), nullable=True),
        sa.Column("humidity_percent", sa.Float(), nullable=True),
        sa.Column("wet_bulb_c", sa.Float(), nullable=True),
        sa.Column("thermometer_id", sa.Integer(), nullable=True),
        sa.Column("hygrometer_id", sa.Integer(), nullable=True),
        sa.Column("turns", sa.Integer(), nullable=True),
        sa.Column("water_ml", sa.Float(), nullable=True),
        sa.Column("event", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("import_id", sa.Integer(), nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint("turns IS NULL OR turns >= 0", name=op.f("ck_log_entry_turns")),
        sa.CheckConstraint("water_ml IS NULL OR water_ml >= 0", name=op.f("ck_log_entry_water")),
        sa.ForeignKeyConstraint(
            ["hygrometer_id"], ["instrument.id"], name=op.f("fk_log_entry_hygrometer_id")
        ),
        sa.ForeignKeyConstraint(["import_id"], ["log_import.id"], name=op.f("fk_log_entry_import_id")),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_log_entry_machine_id")),
        sa.ForeignKeyConstraint(["replaces_id"], ["log_entry.id"], name=op.f("fk_log_entry_replaces_id")),
        sa.ForeignKeyConstraint(
            ["thermometer_id"], ["instrument.id"], name=op.f("fk_log_entry_thermometer_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_log_entry")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_log_entry_replaces_id")),
    )
    op.create_index(op.f("ix_log_entry_hygrometer_id"), "log_entry", ["hygrometer_id"])
    op.create_index(op.f("ix_log_entry_import_id"), "log_entry", ["import_id"])
    op.create_index(op.f("ix_log_entry_machine_id_at"), "log_entry", ["machine_id", "at"])
    op.create_index(op.f("ix_log_entry_thermometer_id"), "log_entry", ["thermometer_id"])
    op.create_table(
        "tray_place",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("tray_id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=True),
        sa.Column("shelf", sa.Integer(), nullable=True),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint(
            "shelf IS NULL OR (shelf >= 1 AND machine_id IS NOT NULL)", name=op.f("ck_tray_place_shelf")
        ),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_tray_place_machine_id")),
        sa.ForeignKeyConstraint(["replaces_id"], ["tray_place.id"], name=op.f("fk_tray_place_replaces_id")),
        sa.ForeignKeyConstraint(["tray_id"], ["tray.id"], name=op.f("fk_tray_place_tray_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tray_place")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_tray_place_replaces_id")),
    )
    op.create_index(op.f("ix_tray_place_machine_id"), "tray_place", ["machine_id"])
    op.create_index(op.f("ix_tray_place_tray_id_at"), "tray_place", ["tray_id", "at"])
    op.create_table(
        "chick",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("first_id", sa.Integer(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("egg_id", sa.Integer(), nullable=True),
        sa.Column("basket", sa.Text(), server_default="", nullable=False),
        sa.Column("mark", sa.Text(), server_default="", nullable=False),
        sa.Column("hatched_at", UtcTime(), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"], name=op.f("fk_chick_batch_id")),
        sa.ForeignKeyConstraint(["egg_id"], ["egg.id"], name=op.f("fk_chick_egg_id")),
        sa.ForeignKeyConstraint(["first_id"], ["chick.id"], name=op.f("fk_chick_first_id")),
        sa.ForeignKeyConstraint(["replaces_id"], ["chick.id"], name=op.f("fk_chick_replaces_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_chick")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_chick_replaces_id")),
    )
    op.create_index(op.f("ix_chick_batch_id"), "chick", ["batch_id"])
    op.create_index(op.f("ix_chick_egg_id"), "chick", ["egg_id"])
    op.create_index(op.f("ix_chick_first_id"), "chick", ["first_id"])
    op.create_table(
        "egg_detail",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("egg_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("laid_on", sa.Text(), nullable=True),
        sa.Column("mass_g", sa.Float(), nullable=True),
        sa.Column("length_mm", sa.Float(), nullable=True),
        sa.Column("breadth_mm", sa.Float(), nullable=True),
        sa.Column("pen", sa.Text(), server_default="", nullable=False),
        sa.Column("sire", sa.Text(), server_default="", nullable=False),
        sa.Column("dam", sa.Text(), server_default="", nullable=False),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint(
            "mass_g > 0 AND length_mm > 0 AND breadth_mm > 0", name=op.f("ck_egg_detail_size")
        ),
        sa.ForeignKeyConstraint(["egg_id"], ["egg.id"], name=op.f("fk_egg_detail_egg_id")),
        sa.ForeignKeyConstraint(["lot_id"], ["egg_lot.id"], name=op.f("fk_egg_detail_lot_id")),
        sa.ForeignKeyConstraint(["replaces_id"], ["egg_detail.id"], name=op.f("fk_egg_detail_replaces_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_egg_detail")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_egg_detail_replaces_id")),
    )
    op.create_index(op.f("ix_egg_detail_egg_id"), "egg_detail", ["egg_id"])
    op.create_index(op.f("ix_egg_detail_lot_id"), "egg_detail", ["lot_id"])
    op.create_table(
        "hatch_basket",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("egg_id", sa.Integer(), nullable=False),
        sa.Column("basket", sa.Text(), server_default="", nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["egg_id"], ["egg.id"], name=op.f("fk_hatch_basket_egg_id")),
        sa.ForeignKeyConstraint(
            ["replaces_id"], ["hatch_basket.id"], name=op.f("fk_hatch_basket_replaces_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hatch_basket")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_hatch_basket_replaces_id")),
    )
    op.create_index(op.f("ix_hatch_basket_egg_id"), "hatch_basket", ["egg_id"])
    op.create_table(
        "weighing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("tray_id", sa.Integer(), nullable=True),
        sa.Column("egg_id", sa.Integer(), nullable=True),
        sa.Column("gross_g", sa.Float(), nullable=False),
        sa.Column("tare_g", sa.Float(), nullable=False),
        sa.Column("eggs_on", sa.Integer(), nullable=True),
        sa.Column("balance_g", sa.Float(), nullable=True),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint("(tray_id IS NULL) <> (egg_id IS NULL)", name=op.f("ck_weighing_one")),
        sa.CheckConstraint("eggs_on IS NULL OR eggs_on >= 1", name=op.f("ck_weighing_eggs_on")),
        sa.CheckConstraint("tare_g >= 0 AND gross_g > tare_g", name=op.f("ck_weighing_mass")),
        sa.ForeignKeyConstraint(["egg_id"], ["egg.id"], name=op.f("fk_weighing_egg_id")),
        sa.ForeignKeyConstraint(["replaces_id"], ["weighing.id"], name=op.f("fk_weighing_replaces_id")),
        sa.ForeignKeyConstraint(["tray_id"], ["tray.id"], name=op.f("fk_weighing_tray_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_weighing")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_weighing_replaces_id")),
    )
    op.create_index(op.f("ix_weighing_egg_id_at"), "weighing", ["egg_id", "at"])
    op.create_index(op.f("ix_weighing_tray_id_at"), "weighing", ["tray_id", "at"])
    op.add_column("outcome", sa.Column("signs", sa.Text(), server_default="[]", nullable=False))
    refuse_changes(_TABLES)
