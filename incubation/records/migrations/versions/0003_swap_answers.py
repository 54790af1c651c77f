"""What people answered when asked whether two eggs were swapped; rows are only added to."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from incubation.records.tables import UtcTime

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

_TABLE = "swap_answer"
_REFUSAL = "records are only added to, never changed"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        _TABLE,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("other_egg_id", sa.Integer(), nullable=True),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("recorded_at", UtcTime(), nullable=False),
        sa.CheckConstraint("answer IN ('swapped', 'same egg', 'not known')", name="ck_swap_answer_answer"),
        sa.CheckConstraint("(answer = 'swapped') = (other_egg_id IS NOT NULL)", name="ck_swap_answer_other"),
        sa.ForeignKeyConstraint(["reading_id"], ["reading.id"], name="fk_swap_answer_reading_id"),
        sa.ForeignKeyConstraint(["other_egg_id"], ["egg.id"], name="fk_swap_answer_other_egg_id"),
        sa.PrimaryKeyConstraint("id", name="pk_swap_answer"),
    )
    op.create_index("ix_swap_answer_reading_id", _TABLE, ["reading_id"])
    op.create_index("ix_swap_answer_other_egg_id", _TABLE, ["other_egg_id"])
    _refuse_changes()


def _refuse_changes() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            f'CREATE TRIGGER {_TABLE}_only_added_to BEFORE UPDATE OR DELETE OR TRUNCATE ON "{_TABLE}" '
            "FOR EACH STATEMENT EXECUTE FUNCTION only_added_to()"
        )
        return
    for change in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER {_TABLE}_no_{change.lower()} BEFORE {change} ON "{_TABLE}" '
            f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
        )
    # INSERT OR REPLACE would delete silently.
    op.execute(
        f'CREATE TRIGGER {_TABLE}_no_replace BEFORE INSERT ON "{_TABLE}" '
        f'WHEN EXISTS (SELECT 1 FROM "{_TABLE}" WHERE id = NEW.id) '
        f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
    )
