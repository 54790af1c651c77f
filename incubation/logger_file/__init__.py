"""Reads the CSV file of any temperature and humidity logger.

First :func:`look_at` guesses what the columns hold and says what it cannot know; the person confirms, and
:func:`read_logger` reads by that :class:`ColumnMatch`, which is remembered for the next file with the same
header (:func:`header_signature`). A line that cannot be read is named and never stops the others.
"""

from __future__ import annotations

from incubation.logger_file.columns import ColumnMatch, header_signature
from incubation.logger_file.guess import LoggerLook, look_at
from incubation.logger_file.read import LoggerReading, ReadLog, read_logger
from incubation.logger_file.table import LoggerFileError

__all__ = [
    "ColumnMatch",
    "LoggerFileError",
    "LoggerLook",
    "LoggerReading",
    "ReadLog",
    "header_signature",
    "look_at",
    "read_logger",
]
