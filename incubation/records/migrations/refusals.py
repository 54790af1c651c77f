"""What makes a table refuse every change of its rows; used by the migrations from 0004 on."""

from __future__ import annotations

from collections.abc import Iterable

from alembic import op

REFUSAL = "records are only added to, never changed"


def refuse_changes(tables: Iterable[str]) -> None:
    """See that rows of these tables can be neither changed nor removed nor replaced."""
    if op.get_bind().dialect.name == "postgresql":
        for table in tables:
            op.execute(
                f'CREATE TRIGGER {table}_only_added_to BEFORE UPDATE OR DELETE OR TRUNCATE ON "{table}" '
                "FOR EACH STATEMENT EXECUTE FUNCTION only_added_to()"
            )
        return
    for table in tables:
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f'CREATE TRIGGER {table}_no_{change.lower()} BEFORE {change} ON "{table}" '
                f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
            )
        # INSERT OR REPLACE would delete silently.
        op.execute(
            f'CREATE TRIGGER {table}_no_replace BEFORE INSERT ON "{table}" '
            f'WHEN EXISTS (SELECT 1 FROM "{table}" WHERE id = NEW.id) '
            f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
        )
