"""``trayglow hatch``, and the records of a batch as the statistics after the hatch see them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from command_examples import as_json, refused

from incubation import records as rec
from review_ui.command_line import main
from review_ui.services.hatched_eggs import batch_log_points, hatch_eggs


@pytest.fixture
def batch(tmp_path, monkeypatch, capsys):
    """Ten eggs on two rows, set twenty-two days ago."""
    monkeypatch.setenv("TRAYGLOW_DATA", str(tmp_path / "records"))
    monkeypatch.setenv("TRAYGLOW_WHO", "Ann")
    monkeypatch.delenv("TRAYGLOW_DATABASE", raising=False)
    set_at = datetime.now(UTC) - timedelta(days=22)
    assert main(["machine", "add", "Kitchen", "--air", "forced", "--shelves", "3"]) == 0
    assert main(["batch", "new", "Spring", "--set-at", set_at.isoformat()]) == 0
    assert main(["tray", "add", "Spring", "1", "--size", "2x5", "--breed", "Marans"]) == 0
    capsys.readouterr()
    return set_at


def call(cup, status, *, set_at, day):
    with rec.open_records() as records, records.write() as session:
        egg = next(egg for egg in rec.eggs_of(session) if egg.cup == cup)
        at = set_at + timedelta(days=day)
        rec.add_call(session, egg.id, status, who="Ann", at=at, proposal_shown=False)


def eggs_after(now=None):
    with rec.open_records() as records, records.read() as session:
        (spring,) = rec.list_batches(session)
        found = hatch_eggs(session, spring, now=now or datetime.now(UTC))
        return {egg.name: egg for egg in found}


def test_a_hatch_from_first_chick_to_last_egg(batch, capsys):
    assert main(["hatch", "out", "Spring", "A1-A4"]) == 0
    assert main(["hatch", "out", "Spring", "A5", "--helped"]) == 0
    assert main(["hatch", "pipped", "Spring", "B1"]) == 0
    assert (
        main(["hatch", "open", "Spring", "B2", "--found", "embryo", "--day", "17", "--sign", "malposition"])
        == 0
    )
    assert "veterinarian" in capsys.readouterr().out
    count = as_json(capsys, "hatch", "open", "Spring", "B3", "--found", "no development")
    assert count["found"] == {"hatched": 5, "embryo": 2, "no development": 1}
    assert count["signs"] == {"helped": 1, "pipped": 1, "malposition": 1}
    assert count["nothing_found_yet"] == ["B4", "B5"]
    eggs = eggs_after()
    assert [eggs[cup].fate for cup in ("A1", "B1", "B2", "B3", "B4")] == [
        "hatched", "pipped", "dead", "infertile", "unknown",
    ]  # fmt: skip
    # An embryo of about day 17 died about then.
    low, high = eggs["B2"].died_between
    assert low <= 17 <= high
    assert high - low <= 5
    assert (eggs["B2"].row, eggs["B2"].column, eggs["B2"].breed) == (1, 1, "Marans")


def test_what_was_seen_at_candling_tells_when_an_unopened_egg_died(batch):
    call("A1", "developing", set_at=batch, day=7)
    call("A1", "late death", set_at=batch, day=14)
    call("A2", "clear", set_at=batch, day=7)
    call("A3", "developing", set_at=batch, day=18)
    eggs = eggs_after(batch + timedelta(days=20))
    assert eggs["A1"].fate == "dead"
    assert eggs["A1"].died_between == (pytest.approx(7), pytest.approx(14))
    assert (eggs["A2"].fate, eggs["A2"].candled_clear) == ("clear", True)
    # Before the end of the hatch a living egg is just not hatched yet.
    assert eggs["A3"].fate == "unknown"
    assert eggs_after(batch + timedelta(days=30))["A3"].fate == "dead"


def test_a_clear_that_turns_out_to_be_a_ring_was_fertile(batch):
    """Clears at candling are not infertile (UC Davis, Definitions of Common Hatchery Terms)."""
    call("A1", "clear", set_at=batch, day=7)
    assert main(["hatch", "open", "Spring", "A1", "--found", "ring", "--day", "3"]) == 0
    egg = eggs_after()["A1"]
    assert (egg.fate, egg.candled_clear, egg.developed) == ("dead", True, True)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["out", "Spring", "C1"], "no cup C1"),
        (["out", "Summer", "A1"], "no batch 'Summer'"),
        (["open", "Spring", "A1", "--found", "embryo", "--sign", "helped"], "A1: "),
        (["out", "Spring", "A1", "--at", "2001-01-01 12:00"], "nothing hatched or was opened before"),
        (["open", "Spring", "A1", "--found", "hatched"], "invalid choice"),
        (["chick", "Spring", "--basket", "Nowhere"], "Nowhere"),
    ],
)
def test_mistakes_are_answered_and_nothing_is_recorded(batch, capsys, words, said):
    assert said in refused(capsys, "hatch", *words)
    assert as_json(capsys, "hatch", "show", "Spring")["found"] == {}


def test_a_finding_is_taken_back(batch, capsys):
    assert main(["hatch", "out", "Spring", "A1"]) == 0
    assert as_json(capsys, "hatch", "undo", "Spring", "A1")["found"] == {}


def test_a_chick_from_a_basket_has_the_parents_that_all_its_eggs_share(batch, capsys):
    for dam, cups in (("Hilda", "A1-A3"), ("Berta", "A4-A5")):
        assert main(["eggs", "lot", "Spring", dam, "--sire", "Rex", "--dam", dam, "--cups", cups]) == 0
    assert main(["hatch", "basket", "Spring", "red", "A1-A3"]) == 0
    assert main(["hatch", "basket", "Spring", "blue", "A3-A5"]) == 0
    assert main(["hatch", "chick", "Spring", "--basket", "red", "--mark", "ring 1"]) == 0
    assert main(["hatch", "chick", "Spring", "--basket", "blue", "--mark", "ring 2"]) == 0
    assert main(["hatch", "chick", "Spring", "--egg", "A4", "--mark", "ring 3"]) == 0
    chicks = {row["mark"]: row for row in as_json(capsys, "hatch", "show", "Spring")["chicks"]}
    assert (chicks["ring 1"]["sire"], chicks["ring 1"]["dam"]) == ("Rex", "Hilda")
    # A3 was put from the red into the blue basket: Hilda's egg lies beside Berta's.
    assert (chicks["ring 2"]["sire"], chicks["ring 2"]["dam"]) == ("Rex", None)
    assert (chicks["ring 3"]["egg"], chicks["ring 3"]["dam"]) == ("A4", "Berta")


def test_lot_machine_shelf_and_log_reach_the_statistics(batch, capsys):
    laid = f"{batch.astimezone() - timedelta(days=6):%Y-%m-%d}"
    assert main(["eggs", "lot", "Spring", "Box", "--shipped", "--laid-from", laid, "--cups", "A1-A5"]) == 0
    at = f"{batch.astimezone():%Y-%m-%d %H:%M}"
    moved = f"{batch.astimezone() + timedelta(days=2):%Y-%m-%d %H:%M}"
    assert main(["machine", "put", "Spring", "Kitchen", "--shelf", "3", "--at", at]) == 0
    assert main(["machine", "put", "Spring", "Kitchen", "--shelf", "1", "--at", moved]) == 0
    assert main(["log", "add", "37.4", "45", "--at", moved]) == 0
    egg = eggs_after()["A1"]
    assert (egg.shipped, egg.source, egg.storage_days) == (True, "Box", 6)
    # Two days on shelf 3, sixteen on shelf 1.
    assert (egg.machine, egg.shelf) == ("Kitchen", 1)
    with rec.open_records() as records, records.read() as session:
        (point,) = batch_log_points(session, rec.list_batches(session)[0])
    assert point.day == pytest.approx(2.0, abs=0.01)
    assert (point.temperature_c, point.machine) == (37.4, "Kitchen")


def test_an_egg_weighed_by_itself_takes_its_loss_of_water_to_the_tracing(batch):
    """54.52 of 58 g on day 9 is 6 %; 12 % by day 18 is what layer hens' eggs should lose (Meir & Ar 2008)."""
    for mass, day in (("58", 0), ("54.52", 9)):
        at = f"{(batch + timedelta(days=day, hours=1)).astimezone():%Y-%m-%d %H:%M}"
        assert main(["weigh", "Spring", mass, "--egg", "A1", "--at", at]) == 0
    eggs = eggs_after()
    # Two points: the last nine days have no log, and late embryos are warmer than the air.
    assert eggs["A1"].water_loss_percent == pytest.approx(12, abs=2)
    assert eggs["A2"].water_loss_percent is None
