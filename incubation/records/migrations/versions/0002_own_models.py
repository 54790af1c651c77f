"""A person's own models, and which model judges their eggs; rows are only added to."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from incubation.records.tables import UtcTime

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_TABLES = ("own_model", "model_choice")
_REFUSAL = "records are only added to, never changed"


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "own_model",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("card", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_own_model"),
        sa.UniqueConstraint("name", name="uq_own_model_name"),
    )
    op.create_table(
        "model_choice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("model_id", sa.Integer(), nullable=True),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["model_id"], ["own_model.id"], name="fk_model_choice_model_id"),
        sa.PrimaryKeyConstraint("id", name="pk_model_choice"),
    )
    op.create_index("ix_model_choice_model_id", "model_choice", ["model_id"])
    _refuse_changes()


def _refuse_changes() -> None:
    if op.get_bind().dialect.name == "postgresql":
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
