"""The tray map, cups as people write them, the cup walk and the clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from incubation import records as rec
from review_ui.errors import UsageError
from review_ui.services.batch_entry import words_of
from review_ui.services.cup_ranges import cups_named
from review_ui.services.cup_walk import walk
from review_ui.services.status_marks import STATUS_MARKS
from review_ui.services.tray_map import DOUBT_WORDS, CupMark, legend_html, tray_svg
from review_ui.services.warmth_clock import clock_words, is_too_long, time_out

SVG = "{http://www.w3.org/2000/svg}"


def test_every_call_has_a_mark_and_no_two_share_word_shape_or_pattern():
    assert set(STATUS_MARKS) == set(rec.CALL_STATUSES)
    for part in ("short", "shape", "pattern", "colour"):
        assert len({getattr(mark, part) for mark in STATUS_MARKS.values()}) == len(STATUS_MARKS)


def contrast(colour: str, ground: str) -> float:
    """Contrast ratio of WCAG 2.2 (relative luminance of sRGB)."""

    def luminance(text: str) -> float:
        parts = [int(text[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    light, dark = sorted((luminance(colour), luminance(ground)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_marks_can_be_read_on_the_dark_ground():
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1 for text.
    for mark in STATUS_MARKS.values():
        assert contrast(mark.colour, "#191511") >= 4.5


def test_map_names_every_cup_with_status_and_doubt_in_words():
    marks = [
        CupMark("A1", "developing", "pass"),
        CupMark("B3", "early death", "review", words="Sundheim <b>"),
        CupMark("B1", None, "not candled"),
    ]
    root = ElementTree.fromstring(tray_svg(marks, rows=2, columns=3, title='Top "shelf"'))
    assert root.get("aria-label") == 'Top "shelf"'
    cups = {g.get("data-cup"): g for g in root.iter(f"{SVG}g") if g.get("data-cup")}
    assert list(cups) == ["A1", "A2", "A3", "B1", "B2", "B3"]
    assert (cups["B3"].get("data-status"), cups["B3"].get("data-doubt")) == ("early death", "review")
    title = cups["B3"].find(f"{SVG}title").text
    assert title == f"B3: early death; {DOUBT_WORDS['review']}; Sundheim <b>"
    texts = {text.text for text in cups["B3"].iter(f"{SVG}text")}
    assert texts == {"early", "?"}
    assert cups["A2"].get("data-status") == "empty"
    assert cups["B1"].get("data-status") == "not candled yet"


def test_text_of_the_map_is_at_least_18_px_where_it_carries_meaning():
    root = ElementTree.fromstring(tray_svg([CupMark("A1", "clear", "pass")], rows=1, columns=1))
    least = float(root.get("style").split("min-width:")[1].split("px")[0])
    scale = least / float(root.get("viewBox").split()[2])
    sizes = [float(text.get("font-size")) * scale for text in root.iter(f"{SVG}text")]
    assert min(sizes) >= 18  # as agreed for a phone at arm's length; the map may shrink by 8 %


def test_a_cup_off_the_tray_is_refused():
    with pytest.raises(ValueError, match="C1"):
        tray_svg([CupMark("C1", "clear", "pass")], rows=2, columns=2)


def test_the_legend_names_every_status_and_doubt():
    html = legend_html()
    for word in (*STATUS_MARKS, DOUBT_WORDS["review"], DOUBT_WORDS["confirm"], DOUBT_WORDS["pulled"]):
        assert word in html


@pytest.mark.parametrize(
    ("text", "cups"),
    [
        ("A1", ["A1"]),
        ("a1 - b2", ["A1", "A2", "B1", "B2"]),
        ("B2-A1, A1", ["A1", "A2", "B1", "B2"]),
        ("C3; A2 , A1", ["A1", "A2", "C3"]),
        ("A1 to A3", ["A1", "A2", "A3"]),
        (" ALL ", ["A1", "A2", "A3", "B1", "B2", "B3", "C1", "C2", "C3"]),
    ],
)
def test_cups_as_people_write_them(text, cups):
    assert list(cups_named(text, rows=3, columns=3)) == cups


@pytest.mark.parametrize("text", ["", " , ", "A", "A1-B2-C3", "A0", "D1", "A4", "1A", "A1-", "-A1", "ä1"])
def test_cups_that_are_none_are_refused_in_a_sentence(text):
    with pytest.raises(UsageError) as told:
        cups_named(text, rows=3, columns=3)
    assert str(told.value)[0].isupper() or str(told.value)[0] in "'\""


@given(st.text(max_size=30))
def test_any_text_gives_cups_or_a_sentence(text):
    try:
        cups = cups_named(text, rows=4, columns=5)
    except UsageError:
        return
    assert 1 <= len(set(cups)) == len(cups) <= 20


def test_names_separated_by_commas():
    assert words_of(" Sundheim,, Barnevelder ,Sundheim") == ("Sundheim", "Barnevelder")
    assert words_of("  ") == ()


EGGS = tuple(SimpleNamespace(id=number, cup=f"A{number}") for number in range(1, 6))


def test_the_walk_names_the_next_egg_without_a_photo():
    now = walk(EGGS, photographed=[1, 2])
    assert (now.current.cup, now.done, now.total) == ("A3", 2, 5)
    assert walk(EGGS, photographed=[1, 3]).current.cup == "A2"


def test_skipped_eggs_are_passed_over_and_listed():
    now = walk(EGGS, photographed=[1], skipped=[2, 3])
    assert now.current.cup == "A4"
    assert [egg.cup for egg in now.skipped] == ["A2", "A3"]
    assert walk(EGGS, photographed=[1, 4, 5], skipped=[2, 3]).current is None


def test_a_skipped_egg_that_was_photographed_after_all_is_no_longer_skipped():
    assert walk(EGGS, photographed=[1, 2], skipped=[2]).skipped == ()


def test_retake_comes_first_even_when_all_are_done():
    assert walk(EGGS, photographed=range(1, 6)).current is None
    assert walk(EGGS, photographed=range(1, 6), retake=4).current.cup == "A4"
    assert walk(EGGS, photographed=[1], retake=99).current.cup == "A2"


def test_walk_of_an_empty_tray():
    now = walk((), photographed=())
    assert (now.current, now.done, now.total) == (None, 0, 0)


def test_clock_counts_whole_minutes_and_cautions_from_15_on():
    start = datetime(2026, 3, 8, 20, 0, tzinfo=UTC)
    almost = time_out(start, start + timedelta(minutes=14, seconds=59))
    assert clock_words(almost) == "Out of the warmth for 14 min"
    assert not is_too_long(almost)
    due = time_out(start, start + timedelta(minutes=15))
    assert is_too_long(due)
    assert "put the tray back now" in clock_words(due)
    assert time_out(start, start - timedelta(hours=1)) == timedelta()
