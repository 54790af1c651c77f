"""A whole batch by the command line alone, from the box of eggs to the tracing; all of it invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pypdfium2
import pytest
from command_examples import as_json

from review_ui.command_line import main

SET_AT = datetime.now(UTC) - timedelta(days=24)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("whole batch")


def at(days, hours=0.0):
    return f"{(SET_AT + timedelta(days=days, hours=hours)).astimezone():%Y-%m-%d %H:%M}"


@pytest.fixture(scope="module")
def played(folder):
    """Two trays of 24: own eggs, and a box that stood sixteen days and came shaken; nine days of it hot."""
    patch = pytest.MonkeyPatch()
    patch.setenv("TRAYGLOW_DATA", str(folder / "records"))
    patch.setenv("TRAYGLOW_WHO", "Ann")
    patch.delenv("TRAYGLOW_DATABASE", raising=False)

    def run(*words):
        assert main([str(word) for word in words]) == 0

    run(
        "machine",
        "add",
        "Cabinet",
        "--air",
        "forced",
        "--form",
        "cabinet",
        "--shelves",
        "2",
        "--altitude",
        "300",
    )
    run("instrument", "add", "Dial", "--measures", "humidity", "--machine", "Cabinet")
    run("instrument", "check", "Dial", "salt", "71", "--at", at(-3))
    run("batch", "new", "Spring", "--set-at", SET_AT.isoformat(), "--breed", "Marans")
    for tray, shelf in (("top", 1), ("low", 2)):
        run("tray", "add", "Spring", tray, "--size", "4x6", "--breed", "Marans")
        run("machine", "put", "Spring", "Cabinet", "--tray", tray, "--shelf", shelf, "--at", at(0))
        run("weigh", "Spring", 1692, "--tray", tray, "--tare", 300, "--balance", 1, "--at", at(0, 1))
    run("eggs", "lot", "Spring", "North pen", "--pen", "North", "--sire", "Rex", "--laid-from", at(-4)[:10],
        "--laid-to", at(-1)[:10], "--tray", "top", "--cups", "all")  # fmt: skip
    run("eggs", "lot", "Spring", "Box", "--shipped", "--sent", 26, "--broken", 2, "--laid-from", at(-16)[:10],
        "--tray", "low", "--cups", "all")  # fmt: skip
    for day in range(22):
        for hour in (1, 13):
            run("log", "add", 37.6, 44 + day % 3, "--turns", 2, "--at", at(day, hour))
    run("call", "Spring", "developing", "all", "--tray", "top", "--at", at(7, 2))
    run("call", "Spring", "developing", "A1-B6", "--tray", "low", "--at", at(7, 2))
    run("call", "Spring", "early death", "C1-D4", "--tray", "low", "--at", at(7, 2))
    run("call", "Spring", "clear", "D5-D6", "C5-C6", "--tray", "low", "--at", at(7, 2))
    run("pull", "Spring", "--tray", "low", "--tick", "C1-D6")
    run("weigh", "Spring", 1608, "--tray", "top", "--at", at(9, 1))
    run("batch", "event", "Spring", "lockdown", "--at", at(18))
    run("hatch", "out", "Spring", "A1-D5", "--tray", "top", "--at", at(21))
    run("hatch", "out", "Spring", "A1-A5", "--tray", "low", "--at", at(21, 8))
    run("hatch", "pipped", "Spring", "D6", "--tray", "top", "--at", at(22))
    run("hatch", "open", "Spring", "A6-B6", "--found", "embryo", "--day", 18, "--tray", "low", "--at", at(23))
    run("batch", "event", "Spring", "hatch ended", "--at", at(23))
    yield folder
    patch.undo()


def test_counts_add_up_to_the_eggs_set(played, capsys):
    rates = as_json(capsys, "results", "Spring")["rates"]
    # Hatched: 23 of the top tray (A1-D5 is a rectangle of 20) and five of the low one.
    assert rates["eggs_set"] == 48
    assert rates["hatched"] == 20 + 5
    known = ("hatched", "infertile", "dead", "alive", "damaged", "not_known")
    assert sum(rates[name] for name in known) == 48
    assert rates["hatch_of_set"]["percent"] == pytest.approx(100 * 25 / 48)


def test_the_box_that_stood_long_and_was_shaken_stands_out(played, capsys):
    tracing = as_json(capsys, "results", "Spring", "--by", "source", "--by", "shelf")["tracing"]
    standing = {
        candidate["cause"] for candidate in tracing["candidates"] if candidate["verdict"] == "stands out"
    }
    # Shipping, storage, tray and shelf are the same 24 eggs here: none may be called the cause alone.
    assert standing & {"shipping", "storage age", "storage"}
    assert all("cause" not in candidate["title"].lower() for candidate in tracing["candidates"])
    shaken = next(c for c in tracing["candidates"] if c["verdict"] == "stands out")
    assert any("cannot tell the two apart" in sentence for sentence in shaken["open"])


def test_results_read_as_text(played, capsys):
    assert main(["results", "Spring", "--by", "source"]) == 0
    out = capsys.readouterr().out
    assert "hatch of set" in out
    assert "Deaths by day" in out
    assert "What may lie behind it" in out
    assert "nan" not in out.lower().split()


def test_planning_learns_from_this_hatch(played, capsys):
    """25 of 48 hatched: for 30 chicks with 90 % confidence clearly more than 58 (30 / 0.52) eggs."""
    plan = as_json(capsys, "batch", "plan", "30")
    assert (plan["batches"], plan["eggs_seen"]) == (1, 48)
    assert plan["eggs"] > 58
    own = as_json(capsys, "batch", "plan", "30", "--breed", "Araucana")
    assert own["batches"] == 0
    assert main(["batch", "plan", "0"]) == 2


def test_one_page_for_the_binder(played, capsys):
    file = played / "spring.pdf"
    assert main(["report", "Spring", str(file)]) == 0
    document = pypdfium2.PdfDocument(file)
    assert len(document) == 1
    text = document[0].get_textpage().get_text_bounded()
    assert "Spring" in text
    assert "25 of 48" in text
    assert "veterinar" in text or "What may lie behind it" in text
