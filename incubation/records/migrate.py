"""Makes the tables of a new database, or brings those of an older program up to date."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect

from incubation.records.errors import RecordsError

MIGRATIONS = Path(__file__).parent / "migrations"


def is_current(connection: Connection) -> bool:
    """Whether the tables are those of this program."""
    revision = MigrationContext.configure(connection).get_current_revision()
    return revision == ScriptDirectory.from_config(migration_config(connection)).get_current_head()


def migrate(connection: Connection, where: str) -> None:
    """Run the migrations that are still to be run, in the connection's transaction.

    Raises
    ------
    RecordsError
        Where the database is of a newer version, or belongs to another program.
    """
    config = migration_config(connection)
    scripts = ScriptDirectory.from_config(config)
    revision = MigrationContext.configure(connection).get_current_revision()
    if revision == scripts.get_current_head():
        return
    if revision is None:
        tables = inspect(connection).get_table_names()
        if [name for name in tables if name != "alembic_version"]:
            raise RecordsError(
                f"{where} holds another program's tables; name another folder or database for the records."
            )
    elif revision not in {script.revision for script in scripts.walk_revisions()}:
        raise RecordsError(
            f"The records in {where} were made by a newer version of Trayglow; install that version, or a "
            "later one, to open them."
        )
    command.upgrade(config, "head")


def migration_config(connection: Connection) -> Config:
    """What Alembic needs to know, without a file of its own."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config
