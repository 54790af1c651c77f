"""Whether a SQLite file holds whole records with all their guards; asked of the file itself.

The program's own way of opening it is not used, as that may fail on, or change, what is broken.
"""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from urllib.parse import quote

from alembic import command
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine
from sqlalchemy.pool import StaticPool

from incubation.records.migrate import MIGRATIONS, migration_config

_INDEX_TROUBLE = re.compile(
    r"row \d+ missing from index|wrong # of entries in index|non-unique entry in index"
)
_MOST_PROBLEMS = 20


@dataclass(frozen=True)
class DatabaseProblem:
    """One thing wrong; ``remedy`` are the statements that mend it and lose nothing, if there are any."""

    text: str
    remedy: tuple[str, ...] = ()


def database_problems(file: Path) -> tuple[DatabaseProblem, ...]:
    """What is wrong with a file of records: damage, numbers of rows that are not there, lost guards.

    Raises nothing: a file that is no database at all is a problem like others.
    """
    try:
        with closing(_read_only(file)) as connection:
            connection.execute("PRAGMA trusted_schema = OFF")
            found = _damage(connection)
            return (*found, *_lost_rows(connection), *_schema(connection))
    except (sqlite3.Error, UnicodeDecodeError) as error:
        return (DatabaseProblem(f"The database {file.name} cannot be read ({error})."),)


def mend_database(file: Path, remedy: tuple[str, ...]) -> None:
    """Carry out a remedy, whole or not at all.

    Raises
    ------
    sqlite3.Error
        Where it cannot be done.
    """
    with closing(sqlite3.connect(file, isolation_level=None)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        for statement in remedy:
            connection.execute(statement)
        connection.execute("COMMIT")


def _read_only(file: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"file:{quote(str(file.absolute()))}?mode=ro", uri=True)


def _damage(connection: sqlite3.Connection) -> list[DatabaseProblem]:
    told = [
        " ".join(str(row[0]).split())
        for row in connection.execute(f"PRAGMA integrity_check({_MOST_PROBLEMS})")
    ]
    problems = [line for line in told if line != "ok"]
    # An index is made anew from its table, so nothing is lost where only indexes are wrong.
    harmless = bool(problems) and all(_INDEX_TROUBLE.search(line) for line in problems)
    return [
        DatabaseProblem(f"The database is damaged: {line}.", ("REINDEX",) if harmless else ())
        for line in problems
    ]


def _lost_rows(connection: sqlite3.Connection) -> list[DatabaseProblem]:
    rows = connection.execute("PRAGMA foreign_key_check").fetchall()
    return [
        DatabaseProblem(f"Row {row[1]} of table {row[0]} names a row of table {row[2]} that is not there.")
        for row in rows[:_MOST_PROBLEMS]
    ]


def _schema(connection: sqlite3.Connection) -> list[DatabaseProblem]:
    """Tables, indexes and guards against what the program of the file's revision makes."""
    objects = _objects(connection)
    if ("table", "alembic_version") not in objects:
        return [DatabaseProblem("The database holds no records of Trayglow's.")]
    revision = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    known = {script.revision for script in ScriptDirectory(str(MIGRATIONS)).walk_revisions()}
    if revision is None or revision[0] not in known:
        return [
            DatabaseProblem("The database was made by a newer version of Trayglow; install that version.")
        ]
    expected = _expected(revision[0])
    problems = []
    for (kind, name), sql in expected.items():
        there = objects.get((kind, name))
        if there is None:
            remedy: tuple[str, ...] = (sql,) if kind in ("trigger", "index") and sql else ()
            problems.append(DatabaseProblem(f"The database lacks its {kind} {name}.", remedy))
        elif kind == "trigger" and _plain(there) != _plain(sql):
            remedy = (f'DROP TRIGGER "{name}"', sql)
            problems.append(DatabaseProblem(f"The guard {name} of the database was changed.", remedy))
        elif kind == "table" and _columns(there) != _columns(sql):
            problems.append(DatabaseProblem(f"The table {name} of the database was changed."))
    for kind, name in objects.keys() - expected.keys():
        # What SQLite keeps for itself may differ from version to version.
        if not name.startswith("sqlite_"):
            problems.append(DatabaseProblem(f"The database has a {kind} {name} that is not Trayglow's."))
    return problems


def _objects(connection: sqlite3.Connection) -> dict[tuple[str, str], str]:
    rows = connection.execute("SELECT type, name, sql FROM sqlite_master ORDER BY type, name")
    return {(kind, name): sql or "" for kind, name, sql in rows}


@cache
def _expected(revision: str) -> dict[tuple[str, str], str]:
    engine = create_engine("sqlite://", poolclass=StaticPool)
    try:
        with engine.connect() as connection, connection.begin():
            command.upgrade(migration_config(connection), revision)
        raw = engine.raw_connection()
        assert isinstance(raw.driver_connection, sqlite3.Connection)
        return _objects(raw.driver_connection)
    finally:
        engine.dispose()


def _plain(sql: str) -> str:
    return " ".join(sql.split()).casefold()


def _columns(sql: str) -> list[str]:
    """The words of a table's statement, without what libraries write differently."""
    return sorted(re.findall(r"[a-z_0-9]+", sql.casefold()))
