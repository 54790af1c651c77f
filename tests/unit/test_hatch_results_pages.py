"""Hatch day and results on the screens, checked against the records and the command line's answers."""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, datetime, timedelta

import pytest
from screens_examples import page

from incubation import records as rec
from incubation.hatch_egg import HatchEgg
from review_ui.hatch import BREAK_OUT_CAUTION
from review_ui.services.eggs_csv import eggs_csv


@pytest.fixture
def batch(data):
    """Six eggs set twenty-two days ago."""
    with rec.open_records(data) as records, records.write() as session:
        made = rec.new_batch(
            session, name="Spring", species="chicken", set_at=datetime.now(UTC) - timedelta(days=22)
        )
        tray = rec.add_tray(session, made.id, name="1", rows=2, columns=3)
        rec.fill_tray(session, tray.id)
    return data


def outcomes(folder) -> dict[str, tuple]:
    with rec.open_records(folder) as records, records.read() as session:
        (made,) = rec.list_batches(session)
        return {
            one.egg.cup: (one.outcome.found, one.outcome.embryo_day, one.outcome.signs, one.outcome.who)
            for one in rec.egg_states(session, made.id)
            if one.outcome is not None
        }


def cups(at, form):
    """The choice of cups of a form, and the eggs' ids by cup."""
    box = next(one for one in at.multiselect if one.key.startswith(f"{form}_") and "Cups" in one.label)
    with rec.open_records() as records, records.read() as session:
        return box, {egg.cup: egg.id for egg in rec.eggs_of(session)}


def press(at, label):
    return next(one for one in at.button if one.label == label).click().run()


def hatched(at, *names):
    box, ids = cups(at, "out")
    box.set_value([ids[name] for name in names])
    return press(at, "Record as hatched")


def words(at) -> str:
    kinds = (at.markdown, at.text, at.info, at.warning, at.success, at.caption, at.subheader)
    return "\n".join(one.value for kind in kinds for one in kind)


def test_hatched_eggs_are_recorded_counted_and_taken_back(batch):
    at = hatched(page("hatch", who="Ada"), "A1", "A2")
    assert not at.exception
    assert not at.error
    assert outcomes(batch) == dict.fromkeys(("A1", "A2"), ("hatched", None, (), "Ada"))
    assert "2 of 6 eggs hatched" in words(at)
    assert "Nothing is recorded yet of 4." in words(at)
    box, ids = cups(at, "out")
    assert box.value == []
    assert len(box.options) == 4

    box, ids = cups(at, "back")
    box.set_value([ids["A2"]])
    at = press(at, "Take back")
    assert not at.error
    assert set(outcomes(batch)) == {"A1"}


def test_break_out_is_recorded_with_day_and_signs_beside_its_caution(batch):
    at = page("hatch", who="Ada")
    assert BREAK_OUT_CAUTION in words(at)
    box, ids = cups(at, "open")
    box.set_value([ids["B1"]])
    at.selectbox(key="open_found").set_value("embryo")
    at.number_input(key="open_day").set_value(18)
    at.multiselect(key="open_signs").set_value(["malposition"])
    at = press(at, "Record what was found")
    assert not at.error
    assert outcomes(batch) == {"B1": ("embryo", 18.0, ("malposition",), "Ada")}


def test_a_mistake_is_a_sentence_and_keeps_what_was_typed(batch):
    at = page("hatch", who="Ada")
    box, ids = cups(at, "open")
    box.set_value([ids["B1"], ids["B2"]])
    at.selectbox(key="open_found").set_value("no development")
    at.number_input(key="open_day").set_value(5)
    at.text_input(key="open_note").set_value("smelt")
    at = press(at, "Record what was found")
    assert "day is given only where an embryo or a ring" in at.error[0].value
    assert "Nothing was recorded" in at.error[0].value
    assert outcomes(batch) == {}
    assert cups(at, "open")[0].value == [ids["B1"], ids["B2"]]
    assert at.number_input(key="open_day").value == 5
    assert at.text_input(key="open_note").value == "smelt"
    assert "Choose the cups first" in press(at, "Record as hatched").error[0].value


def test_what_another_person_recorded_meanwhile_stands(batch):
    mine = page("hatch", who="Ada")
    hatched(page("hatch", who="Bob"), "A1")
    at = hatched(mine, "A1", "A2")
    assert "A1 is recorded already: hatched, by Bob" in at.error[0].value
    assert outcomes(batch) == {"A1": ("hatched", None, (), "Bob")}


@pytest.mark.parametrize("name", ["hatch", "results"])
def test_empty_records_say_what_to_do(data, name):
    at = page(name, who="Ada")
    assert not at.exception
    assert not at.error
    assert "No batch yet" in words(at)


def test_results_before_and_after(batch):
    at = page("results", who="Ada")
    assert not at.exception
    assert not at.error
    assert "results so far" in words(at)
    assert "no deaths to show" in words(at)

    with rec.open_records(batch) as records, records.write() as session:
        (made,) = rec.list_batches(session)
        for egg, (found, day) in zip(
            rec.eggs_of(session, batch_id=made.id),
            [("hatched", None)] * 3 + [("embryo", 18), ("embryo", 18), ("no development", None)],
            strict=True,
        ):
            rec.add_outcome(session, egg.id, found, who="Ada", embryo_day=day)
    at = page("results", who="Ada")
    assert not at.exception
    assert not at.error
    figures = at.table[0].value.iloc[:, 0].to_dict()
    assert "3 of 6" in figures["hatch of set"].replace("\\", "")
    assert "3 of 5" in figures["hatch of fertile"].replace("\\", "")
    # An opened embryo's age is only known to some days.
    first, last = re.search(r"2 embryos died, most around days (\d+) to (\d+);", words(at)).groups()
    assert int(first) < 18 < int(last)
    at.selectbox(key="results_by").set_value("row").run()
    assert not at.exception
    assert not at.error
    assert list(at.table[1].value.index) == ["row A", "row B"]


def test_the_eggs_as_csv_open_in_a_spreadsheet():
    eggs = [HatchEgg("A1", "hatched", pen="=1+1", row=0, column=0), HatchEgg("A2", "dead", signs=("helped",))]
    first, second = csv.DictReader(io.StringIO(eggs_csv(eggs).decode("utf-8-sig")))
    assert (first["name"], first["fate"], first["row"], first["column"]) == ("A1", "hatched", "1", "1")
    assert first["pen"] == "'=1+1"
    assert (second["row"], second["signs"]) == ("", "helped")
