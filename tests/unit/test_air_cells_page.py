"""The page of air cells and humidity, run by itself."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from records_examples import add_look, measured, new_tray
from screens_examples import page

from incubation import records as rec
from review_ui.services.batch_water import batch_water
from review_ui.services.cell_growth import cell_points, growth_sentence, norm_points


def field(at, name, *, tray=1):
    return at.text_input(key=f"weigh_{name}_{tray}")


def weigh(**fields):
    at = page("air_cells", who="Ann")
    for name, text in fields.items():
        field(at, name).set_value(text)
    at.button(key="weigh_add").click().run()
    assert not at.exception
    return at


def weighings(store):
    with store.read() as session:
        (batch,) = rec.list_batches(session)
        return rec.weighings_of(session, batch_id=batch.id)


def test_nothing_measured_says_what_to_do(store):
    new_tray(store)
    at = page("air_cells", who="Ann")
    assert not at.exception
    assert "weigh a tray at setting" in at.info[0].value


def test_a_tray_is_weighed_and_its_tare_remembered(store):
    new_tray(store)
    weigh(gross="648", tare="300")
    weigh(gross="645")
    assert [(one.gross_g, one.tare_g, one.eggs_on) for one in weighings(store)] == [
        (648, 300, 6),
        (645, 300, 6),
    ]


@pytest.mark.parametrize(
    ("fields", "said"),
    [({"gross": "heavy", "tare": "300"}, "is no mass"), ({"gross": "648"}, "empty tray weigh")],
)
def test_a_mistake_is_answered_and_nothing_is_kept(store, fields, said):
    new_tray(store)
    at = weigh(**fields)
    assert said in at.error[0].value
    assert weighings(store) == ()
    assert field(at, "gross").value == fields["gross"]


def test_a_tray_that_gains_mass_is_asked_back(store):
    new_tray(store)
    weigh(gross="648", tare="300")
    at = weigh(gross="700")
    assert at.warning
    assert len(weighings(store)) == 1
    at.button(key="weigh_add").click().run()
    assert len(weighings(store)) == 2


def test_what_was_asked_of_one_tray_is_not_taken_for_another(store):
    batch, _, _ = new_tray(store)
    with store.write() as session:
        other = rec.add_tray(session, batch.id, name="low", rows=1, columns=2)
        rec.fill_tray(session, other.id)
    weigh(gross="648", tare="300")
    at = weigh(gross="700")
    assert at.warning
    at.selectbox(key="weigh_tray").set_value(other.id).run()
    assert not at.warning
    assert field(at, "gross", tray=other.id).value == ""
    field(at, "gross", tray=other.id).set_value("700")
    at.button(key="weigh_add").click().run()
    assert "empty tray weigh" in at.error[0].value
    assert len(weighings(store)) == 1


def test_the_norm_grows_from_the_fresh_air_cell_to_an_eighth_of_the_egg(store):
    """About 13 % of the egg's volume before pipping (Ar & Rahn 1980 logic)."""
    batch, _, _ = new_tray(store)
    with store.read() as session:
        water = batch_water(session, batch, now=datetime.now(UTC))
    points = norm_points(water)
    assert [point.low for point in points] == sorted(point.low for point in points)
    assert points[-1].low <= 13 <= points[-1].high + 1
    assert growth_sentence(water, cell_points(water)) == "No air cell was measured yet."


def test_a_measured_air_cell_stands_in_the_chart(store):
    batch, _, eggs = new_tray(store)
    egg = measured()
    egg["air_cell"] = {"depth_fraction": 0.13, "volume_fraction": 0.065, "confidence": 0.9}
    add_look(store, eggs[0], egg, day=9)
    now = batch.set_at + timedelta(days=9, hours=2)
    with store.read() as session:
        water = batch_water(session, batch, now=now)
    (point,) = cell_points(water)
    assert (point.egg, point.day, point.percent) == (eggs[0].cup, 9, pytest.approx(6.5))
    # The mass balance of a 58 g egg on day 9 is about 3.7 mL of 54.5: 6.5 % is as it should be.
    assert "as they should be" in growth_sentence(water, (point,))
