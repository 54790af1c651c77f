"""The first tables, each refusing every change of its rows."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from incubation.records.tables import UtcTime

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_TABLES = ("batch", "tray", "egg", "photo", "reading", "proposal", "call", "outcome", "pull")
_REFUSAL = "records are only added to, never changed"


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "batch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("first_id", sa.Integer(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("species", sa.Text(), nullable=False),
        sa.Column("breeds", sa.Text(), nullable=False),
        sa.Column("set_at", UtcTime(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["first_id"], ["batch.id"], name="fk_batch_first_id"),
        sa.ForeignKeyConstraint(["replaces_id"], ["batch.id"], name="fk_batch_replaces_id"),
        sa.PrimaryKeyConstraint("id", name="pk_batch"),
        sa.UniqueConstraint("replaces_id", name="uq_batch_replaces_id"),
    )
    op.create_index("ix_batch_first_id", "batch", ["first_id"])
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("suffix", sa.Text(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=True),
        sa.Column("height_px", sa.Integer(), nullable=True),
        sa.Column("taken_at", sa.Text(), nullable=True),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_photo"),
        sa.UniqueConstraint("sha256", name="uq_photo_sha256"),
    )
    op.create_table(
        "tray",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("first_id", sa.Integer(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("columns", sa.Integer(), nullable=False),
        sa.Column("layout", sa.Text(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint("rows > 0 AND columns > 0", name="ck_tray_size"),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"], name="fk_tray_batch_id"),
        sa.ForeignKeyConstraint(["first_id"], ["tray.id"], name="fk_tray_first_id"),
        sa.ForeignKeyConstraint(["replaces_id"], ["tray.id"], name="fk_tray_replaces_id"),
        sa.PrimaryKeyConstraint("id", name="pk_tray"),
        sa.UniqueConstraint("replaces_id", name="uq_tray_replaces_id"),
    )
    op.create_index("ix_tray_batch_id", "tray", ["batch_id"])
    op.create_index("ix_tray_first_id", "tray", ["first_id"])
    op.create_table(
        "egg",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("first_id", sa.Integer(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("tray_id", sa.Integer(), nullable=False),
        sa.Column("cup", sa.Text(), nullable=False),
        sa.Column("breed", sa.Text(), server_default="", nullable=False),
        sa.Column("source", sa.Text(), server_default="", nullable=False),
        sa.Column("mark", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"], name="fk_egg_batch_id"),
        sa.ForeignKeyConstraint(["first_id"], ["egg.id"], name="fk_egg_first_id"),
        sa.ForeignKeyConstraint(["replaces_id"], ["egg.id"], name="fk_egg_replaces_id"),
        sa.ForeignKeyConstraint(["tray_id"], ["tray.id"], name="fk_egg_tray_id"),
        sa.PrimaryKeyConstraint("id", name="pk_egg"),
        sa.UniqueConstraint("replaces_id", name="uq_egg_replaces_id"),
    )
    op.create_index("ix_egg_batch_id", "egg", ["batch_id"])
    op.create_index("ix_egg_first_id", "egg", ["first_id"])
    op.create_index("ix_egg_tray_id", "egg", ["tray_id"])
    op.create_table(
        "outcome",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("egg_id", sa.Integer(), nullable=False),
        sa.Column("found", sa.Text(), nullable=True),
        sa.Column("embryo_day", sa.Float(), nullable=True),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint(
            "found IN ('no development', 'ring', 'embryo', 'alive', 'not opened', 'hatched')",
            name="ck_outcome_found",
        ),
        sa.CheckConstraint("embryo_day IS NULL OR embryo_day >= 0", name="ck_outcome_embryo_day"),
        sa.ForeignKeyConstraint(["egg_id"], ["egg.id"], name="fk_outcome_egg_id"),
        sa.ForeignKeyConstraint(["replaces_id"], ["outcome.id"], name="fk_outcome_replaces_id"),
        sa.PrimaryKeyConstraint("id", name="pk_outcome"),
        sa.UniqueConstraint("replaces_id", name="uq_outcome_replaces_id"),
    )
    op.create_index("ix_outcome_egg_id", "outcome", ["egg_id"])
    op.create_table(
        "pull",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("egg_id", sa.Integer(), nullable=False),
        sa.Column("pulled", sa.Boolean(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["egg_id"], ["egg.id"], name="fk_pull_egg_id"),
        sa.ForeignKeyConstraint(["replaces_id"], ["pull.id"], name="fk_pull_replaces_id"),
        sa.PrimaryKeyConstraint("id", name="pk_pull"),
        sa.UniqueConstraint("replaces_id", name="uq_pull_replaces_id"),
    )
    op.create_index("ix_pull_egg_id", "pull", ["egg_id"])
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("egg_id", sa.Integer(), nullable=False),
        sa.Column("photo_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("day", sa.Float(), nullable=False),
        sa.Column("view", sa.Text(), nullable=True),
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("schema_version", sa.Integer(), nullable=False),
        sa.Column("measured", sa.Text(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint("day >= 0", name="ck_reading_day"),
        sa.ForeignKeyConstraint(["egg_id"], ["egg.id"], name="fk_reading_egg_id"),
        sa.ForeignKeyConstraint(["photo_id"], ["photo.id"], name="fk_reading_photo_id"),
        sa.ForeignKeyConstraint(["replaces_id"], ["reading.id"], name="fk_reading_replaces_id"),
        sa.PrimaryKeyConstraint("id", name="pk_reading"),
        sa.UniqueConstraint("replaces_id", name="uq_reading_replaces_id"),
    )
    op.create_index("ix_reading_egg_id", "reading", ["egg_id"])
    op.create_index("ix_reading_photo_id", "reading", ["photo_id"])
    op.create_table(
        "proposal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("clear", sa.Float(), nullable=False),
        sa.Column("early_death", sa.Float(), nullable=False),
        sa.Column("developing", sa.Float(), nullable=False),
        sa.Column("decision", sa.Text(), nullable=False),
        sa.Column("reasons", sa.Text(), nullable=False),
        sa.Column("apparent_day", sa.Float(), nullable=True),
        sa.Column("apparent_low", sa.Float(), nullable=True),
        sa.Column("apparent_high", sa.Float(), nullable=True),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint("decision IN ('pass', 'confirm', 'review')", name="ck_proposal_decision"),
        sa.CheckConstraint("status IN ('clear', 'early death', 'developing')", name="ck_proposal_status"),
        sa.ForeignKeyConstraint(["reading_id"], ["reading.id"], name="fk_proposal_reading_id"),
        sa.ForeignKeyConstraint(["replaces_id"], ["proposal.id"], name="fk_proposal_replaces_id"),
        sa.PrimaryKeyConstraint("id", name="pk_proposal"),
        sa.UniqueConstraint("replaces_id", name="uq_proposal_replaces_id"),
    )
    op.create_index("ix_proposal_reading_id", "proposal", ["reading_id"])
    op.create_table(
        "call",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("egg_id", sa.Integer(), nullable=False),
        sa.Column("status", sa.Text(), nullable=True),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("proposal_id", sa.Integer(), nullable=True),
        sa.Column("proposal_shown", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint(
            "status IN ('clear', 'early death', 'developing', 'late death', 'damaged', 'cannot tell')",
            name="ck_call_status",
        ),
        sa.CheckConstraint("status IS NOT NULL OR replaces_id IS NOT NULL", name="ck_call_undo"),
        sa.ForeignKeyConstraint(["egg_id"], ["egg.id"], name="fk_call_egg_id"),
        sa.ForeignKeyConstraint(["proposal_id"], ["proposal.id"], name="fk_call_proposal_id"),
        sa.ForeignKeyConstraint(["replaces_id"], ["call.id"], name="fk_call_replaces_id"),
        sa.PrimaryKeyConstraint("id", name="pk_call"),
    )
    op.create_index("ix_call_egg_id", "call", ["egg_id"])
    op.create_index("ix_call_replaces_id", "call", ["replaces_id"])
    op.create_index(
        "uq_call_undone",
        "call",
        ["replaces_id"],
        unique=True,
        sqlite_where=sa.text("status IS NULL"),
        postgresql_where=sa.text("status IS NULL"),
    )
    _refuse_changes()


def _refuse_changes() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE FUNCTION only_added_to() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{_REFUSAL}'; END $$"
        )
        for table in _TABLES:
            op.execute(
                f'CREATE TRIGGER {table}_only_added_to BEFORE UPDATE OR DELETE OR TRUNCATE ON "{table}" '
                "FOR EACH STATEMENT EXECUTE FUNCTION only_added_to()"
            )
        return
    for table in _TABLES:
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f'CREATE TRIGGER {table}_no_{change.lower()} BEFORE {change} ON "{table}" '
                f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
            )
        # INSERT OR REPLACE would delete silently.
        op.execute(
            f'CREATE TRIGGER {table}_no_replace BEFORE INSERT ON "{table}" '
            f'WHEN EXISTS (SELECT 1 FROM "{table}" WHERE id = NEW.id) '
            f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
        )
