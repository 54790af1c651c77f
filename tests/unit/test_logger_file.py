"""Loggers' CSV files of many makes: what was written comes back, or a sentence says why not."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from incubation.logger_file import LoggerFileError, header_signature, look_at, read_logger

BERLIN = "Europe/Berlin"
START = datetime(2026, 3, 3, 6, 0, tzinfo=ZoneInfo(BERLIN))


def written(form, *, header, row, count=300, minutes=30):
    """A file with a reading every half hour: 37.5 C and 45.0 %RH, a little more each time."""
    lines = [header]
    for number in range(count):
        at = START + timedelta(minutes=minutes * number)
        celsius = 37.5 + 0.001 * number
        lines.append(
            row.format(
                number=number + 1, at=at.strftime(form), c=celsius, f=celsius * 1.8 + 32, h=45 + 0.01 * number
            )
        )
    return "\n".join(lines)


MAKES = {
    "plain": written(
        "%Y-%m-%d %H:%M:%S", header="Time,Temperature(C),Humidity(%)", row="{at},{c:.3f},{h:.2f}"
    ),
    "American": written(
        "%m/%d/%Y %I:%M:%S %p",
        header='#,"Date Time","Temp, °F","RH, %"',
        row='{number},"{at}",{f:.4f},{h:.2f}',
    ),
    "two columns": written(
        "%d.%m.%Y\t%H:%M", header="Date\tClock\tT [°C]\trH [%]", row="{at}\t{c:.3f}\t{h:.2f}"
    ),
    "with a preamble": "Device,ab-1\nSerial,0815\n\n"
    + written(
        "%Y/%m/%d %H:%M",
        header="No.,Time,Temperature °C,Relative Humidity,Dew point °C",
        row="{number},{at},{c:.3f},{h:.2f},22.1",
    ),
    "with an offset": written(
        "%Y-%m-%dT%H:%M:%S+01:00", header="timestamp,temperature_c,humidity", row="{at},{c:.3f},{h:.2f}"
    ),
}


@pytest.mark.parametrize("make", MAKES)
def test_files_of_many_makes_are_guessed_right(make):
    data = MAKES[make].encode()
    look = look_at(data, zone=BERLIN)
    log = read_logger(data, look.guess)
    assert log.bad_lines == ()
    assert len(log.readings) == look.rows == 300
    assert log.readings[0].at == START.astimezone(UTC)
    assert log.readings[299].at - log.readings[0].at == timedelta(minutes=30 * 299)
    assert log.readings[100].temperature_c == pytest.approx(37.6, abs=1e-3)
    assert log.readings[100].humidity_percent == pytest.approx(46.0, abs=1e-3)


def test_decimal_commas_between_semicolons():
    text = MAKES["plain"].replace(",", ";").replace(".", ",")
    data = text.replace("Temperature(C)", "Temperatur (°C)").replace("Humidity(%)", "Luftfeuchte (%)")
    log = read_logger(data.encode("cp1252"), look_at(data.encode("cp1252"), zone=BERLIN).guess)
    assert log.readings[100].temperature_c == pytest.approx(37.6, abs=1e-3)
    assert log.readings[100].humidity_percent == pytest.approx(46.0, abs=1e-3)


def test_the_zone_is_asked_unless_the_file_says_it():
    assert any("clock" in question for question in look_at(MAKES["plain"].encode(), zone=BERLIN).questions)
    assert look_at(MAKES["with an offset"].encode(), zone=BERLIN).questions == ()


def test_dates_that_fit_both_ways_are_asked():
    data = b"Time,Temp C,RH\n03/04/2026 06:00,37.5,45\n03/04/2026 18:00,37.6,46\n"
    assert any("both ways" in question for question in look_at(data, zone=BERLIN).questions)


def test_a_midnight_tells_the_order_of_dates():
    """Hourly over the third to the fifth: read month first, the log would leap from March to April."""
    for form, order in (("%d/%m/%Y %H:%M", "day first"), ("%m/%d/%Y %H:%M", "month first")):
        data = written(
            form, header="Time,Temp C,RH", row="{at},{c:.2f},{h:.2f}", count=60, minutes=60
        ).encode()
        look = look_at(data, zone=BERLIN)
        assert look.guess.date_order == order
        assert not any("both ways" in question for question in look.questions)


def test_unit_is_asked_where_the_header_is_silent_and_told_by_the_numbers():
    data = written("%Y-%m-%d %H:%M", header="Time,Temp,RH", row="{at},{f:.2f},{h:.2f}").encode()
    assert look_at(data, zone=BERLIN).guess.unit == "F"


def test_the_hour_that_summer_time_gives_back_is_not_lost():
    """In Berlin on 25 October 2026 the clock shows 02:00 to 02:59 twice; a logger set to it writes both."""
    first = datetime(2026, 10, 24, 23, 0, tzinfo=UTC)
    moments = [first + timedelta(minutes=20 * step) for step in range(18)]
    rows = [f"{at.astimezone(ZoneInfo(BERLIN)):%Y-%m-%d %H:%M},37.5,45" for at in moments]
    data = "\n".join(["Time,Temp C,RH", *rows]).encode()
    log = read_logger(data, look_at(data, zone=BERLIN).guess)
    assert [reading.at for reading in log.readings] == moments


def test_lines_that_cannot_be_read_are_named_and_stop_no_other():
    data = (
        b"Time,Temp C,RH\n2026-03-03 06:00,37.5,45\n2026-03-03 07:00,warm,45\nyesterday,37.5,45\n"
        b"2026-03-03 08:00,--,\n2026-03-03 09:00,37.6,--\n2026-03-03 09:00,37.6,--\n"
        b"2026-03-03 09:00,38.6,--\n"
    )
    log = read_logger(data, look_at(data, zone="UTC").guess)
    assert [reading.temperature_c for reading in log.readings] == [37.5, 37.6]
    assert log.repeated == 1
    assert [number for number, _ in log.bad_lines] == [3, 4, 5, 8]
    assert "'warm' is no number" in log.bad_lines[0][1]


def test_the_same_columns_are_known_again():
    assert header_signature(["Time", "Temp C"]) == header_signature([" time", "TEMP C"])
    assert header_signature(["Time", "Temp C"]) != header_signature(["Temp C", "Time"])


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no table"),
        (b"hello\nworld\n", "no table"),
        (b"a,b\n1,2\n", "No column holds times"),
        (b"Time,Battery\n2026-03-03 06:00,3.1\n", "temperature or a humidity"),
        (b"Time,Temp C,RH\n", "no readings"),
        (b"2026-03-03 06:00,37.5,45\n", "names its columns"),
        (b"PK\x03\x04\x00\x00,\x00", "not text"),
    ],
)
def test_what_is_no_log_is_refused_in_a_sentence(data, words):
    with pytest.raises(LoggerFileError, match=words):
        look_at(data, zone="UTC")


def test_an_unknown_zone_or_column_is_named():
    data = MAKES["plain"].encode()
    guess = look_at(data, zone=BERLIN).guess
    with pytest.raises(LoggerFileError, match="no time zone"):
        read_logger(data, replace(guess, zone="Middle/Earth"))
    with pytest.raises(LoggerFileError, match="no column 'Temp 2'"):
        read_logger(data, replace(guess, temperature="Temp 2"))


@settings(max_examples=150, deadline=None)
@given(
    st.binary(max_size=400)
    | st.text(alphabet="Time,Temp RH;\t\n0123456789:-/.\"' ", max_size=400).map(str.encode)
)
def test_no_bytes_make_it_fail_otherwise(data):
    try:
        read_logger(data, look_at(data, zone="UTC").guess)
    except LoggerFileError:
        return
