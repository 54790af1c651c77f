"""Opens the records and hands out transactions on them.

SQLite in the data folder, in write-ahead mode: whoever reads is never held up by whoever writes,
and what was committed survives a killed process and a power cut. Writers queue, each transaction
taking the lock at its beginning, so nothing it has read can change under it.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from platformdirs import user_data_path
from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.orm import Session

from incubation.records.errors import RecordsError
from incubation.records.migrate import is_current, migrate
from incubation.records.photo_files import KeptFile, check_photo_folder
from incubation.records.photos import keep_photo_file
from incubation.records.troubles import trouble

DATA_VARIABLE, DATABASE_VARIABLE = "TRAYGLOW_DATA", "TRAYGLOW_DATABASE"
DATABASE_FILE, PHOTO_FOLDER = "trayglow.sqlite3", "photos"

_WRITES = "trayglow_writes"
_WRITERS_LOCK = 747_297_956  # any number, the same in every version


def default_folder() -> Path:
    """The folder that ``TRAYGLOW_DATA`` names, else the user's own data folder."""
    named = os.environ.get(DATA_VARIABLE)
    return Path(named) if named else user_data_path("trayglow", appauthor=False)


def open_records(
    folder: Path | str | None = None, *, url: str | URL | None = None, busy_seconds: float = 10.0
) -> Records:
    """Open the records, making or renewing their tables where needed.

    Parameters
    ----------
    folder
        Where the photos and, without a URL, the database are kept; made if missing. By default
        :func:`default_folder`.
    url
        Another database, such as ``postgresql+psycopg://...``; by default what
        ``TRAYGLOW_DATABASE`` names, else SQLite in the folder.
    busy_seconds
        How long to wait for another program that is writing.

    Raises
    ------
    RecordsError
        Where the folder cannot be written, or the database is locked, damaged, no database of
        Trayglow's or one of a newer version.
    """
    place = Path(folder) if folder is not None else default_folder()
    check_photo_folder(place, place / PHOTO_FOLDER)
    url = url or os.environ.get(DATABASE_VARIABLE) or None
    if url is None:
        where = str(place / DATABASE_FILE)
        engine = _sqlite_engine(place / DATABASE_FILE, busy_seconds)
    else:
        where, engine = _other_engine(url, busy_seconds)
    records = Records(place, engine, where=where, busy_seconds=busy_seconds)
    try:
        if engine.dialect.name == "sqlite":
            _use_write_ahead(engine, busy_seconds)
        with engine.connect() as connection, connection.begin():
            current = is_current(connection)
        if not current:  # only then is it worth waiting for somebody who writes
            with engine.connect().execution_options(**{_WRITES: True}) as connection, connection.begin():
                migrate(connection, where)
    except (DBAPIError, sqlite3.Error) as error:
        engine.dispose()
        raise trouble(error, where=where, busy_seconds=busy_seconds) from error
    except RecordsError:
        engine.dispose()
        raise
    return records


class Records:
    """An open database and its folder of photos.

    One may be shared by threads; the sessions it hands out may not.
    """

    def __init__(self, folder: Path, engine: Engine, *, where: str, busy_seconds: float) -> None:
        self.folder = folder
        self.engine = engine
        self._where = where
        self._busy_seconds = busy_seconds

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that sees one state of the records and changes nothing.

        Raises
        ------
        RecordsError
            Where the database fails.
        """
        with self._session(writes=False) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session in one transaction: all of the block is recorded at its end, or nothing.

        Raises
        ------
        RecordsError
            Where the database fails; nothing of the block is recorded then.
        """
        with self._session(writes=True) as session:
            yield session
            session.commit()

    def keep_photo(self, source: bytes | Path, *, name: str) -> KeptFile:
        """Put a photo's file in its place, before the transaction in which it is recorded.

        Parameters
        ----------
        source
            The file's bytes, or where it lies.
        name
            What the person calls it.

        Returns
        -------
        What to give to :func:`incubation.records.store_photo`.

        Raises
        ------
        RecordsError
            Where the file cannot be read or kept.
        """
        with self.read() as session:
            return keep_photo_file(self.folder / PHOTO_FOLDER, session, source, name)

    def close(self) -> None:
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def _session(self, *, writes: bool) -> Iterator[Session]:
        options: dict[str, Any] = {_WRITES: writes}
        if self.engine.dialect.name != "sqlite":
            # Writers queue (see _server_engine), so each sees all that was committed before it.
            options["isolation_level"] = "READ COMMITTED" if writes else "REPEATABLE READ"
        try:
            with Session(self.engine.execution_options(**options)) as session:
                session.info["photo_folder"] = self.folder / PHOTO_FOLDER
                yield session
        except DBAPIError as error:
            raise trouble(error, where=self._where, busy_seconds=self._busy_seconds) from error


def _sqlite_engine(file: Path, busy_seconds: float) -> Engine:
    engine = create_engine(
        URL.create("sqlite", database=str(file)),
        connect_args={"timeout": busy_seconds},
    )

    @event.listens_for(engine, "connect")
    def _prepare(connection: sqlite3.Connection, record: object) -> None:
        connection.isolation_level = None  # begin() below decides, not the driver
        connection.execute("PRAGMA foreign_keys = ON")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES, False)
        connection.exec_driver_sql(f"PRAGMA query_only = {'OFF' if writes else 'ON'}")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _server_engine(url: URL, busy_seconds: float) -> Engine:
    """PostgreSQL with the same promises as SQLite: one writes at a time, readers see one state."""
    engine = create_engine(url, pool_pre_ping=True)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        if connection.get_execution_options().get(_WRITES, False):
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{round(1000 * busy_seconds)}ms'")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITERS_LOCK})")
        else:
            connection.exec_driver_sql("SET TRANSACTION READ ONLY")

    return engine


def _use_write_ahead(engine: Engine, busy_seconds: float) -> None:
    """Switch to write-ahead mode, which lasts.

    The switch itself does not wait for others, so it is tried again while two programs open the
    same new database.
    """
    until = time.monotonic() + busy_seconds
    connection = engine.raw_connection()
    try:
        cursor = connection.cursor()
        while True:
            try:
                cursor.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as error:
                if "locked" not in str(error) or time.monotonic() > until:
                    raise
                time.sleep(0.05)
    finally:
        connection.close()


def _other_engine(text: str | URL, busy_seconds: float) -> tuple[str, Engine]:
    try:
        url = make_url(text)
        where = url.render_as_string(hide_password=True)
        if url.get_backend_name() == "sqlite":
            if not url.database or url.database == ":memory:":
                raise RecordsError(f"{DATABASE_VARIABLE}: {text} names no file to keep records in.")
            return where, _sqlite_engine(Path(url.database), busy_seconds)
        return where, _server_engine(url, busy_seconds)
    except ModuleNotFoundError as error:
        raise RecordsError(
            f"{DATABASE_VARIABLE}: the package {error.name} for this database is not installed; install "
            'it with: pip install "trayglow[postgres]"'
        ) from error
    except (ArgumentError, NoSuchModuleError, ValueError) as error:
        raise RecordsError(
            f"{DATABASE_VARIABLE}: the address of the database cannot be used; give one such as "
            "postgresql+psycopg://user@server/trayglow"
        ) from error
