"""``trayglow batch``, ``tray``, ``candle`` and ``pull``, as a person or a script uses them."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest
from PIL import Image
from records_examples import SET_AT, add_look, measured

from incubation import records as rec
from review_ui import candle
from review_ui.command_line import _parser, main

PICTURES = Path(__file__).resolve().parents[2] / "sample_images" / "pictures"
CLEAR, ALIVE = PICTURES / "day07_clear_white.jpg", PICTURES / "day07_developing_white.jpg"


@pytest.fixture
def data(tmp_path, monkeypatch):
    folder = tmp_path / "records"
    monkeypatch.setenv("TRAYGLOW_DATA", str(folder))
    monkeypatch.setenv("TRAYGLOW_WHO", "Ann")
    monkeypatch.delenv("TRAYGLOW_DATABASE", raising=False)
    return folder


@pytest.fixture
def spring(data):
    """A batch with a tray of 2 x 3, an egg in every cup but the last."""
    assert main(["batch", "new", "Spring", "--set-at", SET_AT.isoformat(), "--breed", "Marans"]) == 0
    assert (
        main(["tray", "add", "Spring", "1", "--size", "2x3", "--eggs", "A1-B2", "a3", "--breed", "Marans"])
        == 0
    )
    return data


def as_json(capsys, *words) -> dict:
    capsys.readouterr()
    assert main([*words, "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == 1
    return document


def eggs_by_cup() -> dict[str, rec.Egg]:
    with rec.open_records() as records, records.read() as session:
        return {egg.cup: egg for egg in rec.eggs_of(session)}


def test_batches_are_recorded_listed_and_shown(spring, capsys):
    assert main(["batch", "new", "Ducks", "--set-at", "2026-04-01 18:00", "--species", "duck"]) == 0
    capsys.readouterr()
    assert main(["batch", "list"]) == 0
    ducks, chickens = capsys.readouterr().out.splitlines()
    assert ducks.startswith("Ducks: duck, set 2026-04-01 18:00, ")
    assert chickens.startswith("Spring: chicken (Marans), set ")
    document = as_json(capsys, "batch", "show", "spring")
    assert document["batch"]["name"] == "Spring"
    assert document["batch"]["set_at"] == "2026-03-01T18:00:00+00:00"
    (tray,) = document["trays"]
    assert [egg["cup"] for egg in tray["eggs"]] == ["A1", "A2", "A3", "B1", "B2"]
    assert {egg["breed"] for egg in tray["eggs"]} == {"Marans"}
    names = [batch["name"] for batch in as_json(capsys, "batch", "list")["batches"]]
    assert names == ["Ducks", "Spring"]


def test_before_the_first_batch_the_next_step_is_said(data, capsys):
    assert main(["batch", "list"]) == 0
    assert "trayglow batch new NAME --set-at TIME" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["batch", "show", "Sprung"], "There is no batch 'Sprung'; there are: Spring."),
        (
            ["batch", "new", "SPRING", "--set-at", "now"],
            "There is a batch Spring already; choose another name.",
        ),
        (["batch", "new", "x", "--set-at", "2026-03-01"], "'2026-03-01' is not a day and time; give both"),
        (["batch", "new", "x", "--set-at", "soon"], "'soon' is not a day and time"),
        (["tray", "add", "Spring", "1", "--size", "2x3"], "has a tray 1 already"),
        (["tray", "add", "Spring", "2", "--size", "2x"], "'2x' is no tray's size"),
        (["tray", "show", "Spring", "--tray", "9"], "The batch has no tray '9'; it has: 1."),
        (["tray", "eggs", "Spring", "C1"], "Tray 1 has no cup C1: its last one is B3."),
        (["tray", "eggs", "Spring", "A1"], "An egg lies in cup A1 of tray 1 already."),
        (["tray", "move", "Spring", "B3", "A1"], "No egg lies in cup B3 of tray 1."),
        (["pull", "Spring", "--tick", "A1"], "A1 is not on the pull list"),
        (["pull", "Spring", "--untick", "A1"], "No egg of cup A1 is ticked as pulled."),
        (["pull", "Spring", "--found", "ring"], "name them with --tick"),
        (["candle", "Spring", str(CLEAR), "--cups", "A1,A2"], "--cups names 2 cups for 1 photos"),
        (["candle", "Spring", str(CLEAR), "--cups", "B3"], "no egg lies in 'B3' of tray 1"),
        (["candle", "Spring", str(CLEAR), "--cups", "A1", "--day", "27"], "Day 27 is too late"),
        (["candle", "Spring", str(CLEAR), "--day", "-1"], "'-1' is not a day"),
    ],
)
def test_wrong_usage_is_one_sentence_and_status_2(spring, capsys, words, said):
    capsys.readouterr()
    assert main(words) == 2
    error = capsys.readouterr().err
    assert said in error
    assert "Traceback" not in error


def test_records_that_cannot_be_used_are_status_2(data, capsys):
    data.mkdir()
    (data / "trayglow.sqlite3").write_bytes(b"something else entirely" * 100)
    assert main(["batch", "list"]) == 2
    assert "is damaged or no database of Trayglow's" in capsys.readouterr().err


def test_json_is_written_to_a_file_beside_the_text(spring, tmp_path, capsys):
    assert main(["tray", "show", "Spring", "--json", str(tmp_path / "tray.json")]) == 0
    assert "Tray 1, 2 x 3, 5 eggs in it" in capsys.readouterr().out
    assert json.loads((tmp_path / "tray.json").read_text())["tray"]["rows"] == 2
    assert main(["tray", "show", "Spring", "--json", str(tmp_path / "no" / "tray.json")]) == 2
    assert "there is no folder" in capsys.readouterr().err


def test_the_tray_as_text(spring, capsys):
    eggs = eggs_by_cup()
    clear = measured("clear", 0.9, "confirm", veins=False)
    with rec.open_records() as records:
        look = add_look(records, eggs["A1"], clear, photo=b"1")
        add_look(records, eggs["A2"], measured("early death", 0.5, "review"), photo=b"2")
        add_look(records, eggs["A3"], photo=b"3")
        add_look(records, eggs["B1"], photo=b"4")
        with records.write() as session:
            rec.add_call(session, eggs["A1"].id, "clear", who="Ann", proposal_id=look.proposal.id)
            rec.tick_pulled(session, eggs["A1"].id, who="Ann")
            rec.add_call(session, eggs["B1"].id, "damaged", who="Ann")
    capsys.readouterr()
    assert main(["tray", "show", "Spring"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[1:4] == [
        "   1        2        3",
        "A  (CLEAR)  early?   alive",
        "B  DAMAGED  egg      .",
    ]


def test_eggs_change_places(spring, capsys):
    before = eggs_by_cup()
    assert main(["tray", "move", "Spring", "A1", "B2"]) == 0
    assert main(["tray", "move", "Spring", "A2", "B3"]) == 0
    after = eggs_by_cup()
    assert {cup: egg.id for cup, egg in after.items()} == {
        "A1": before["B2"].id,
        "A3": before["A3"].id,
        "B1": before["B1"].id,
        "B2": before["A1"].id,
        "B3": before["A2"].id,
    }


def test_a_second_tray_must_be_named(spring, capsys):
    assert main(["tray", "add", "Spring", "2", "--size", "1x1"]) == 0
    assert main(["tray", "show", "Spring"]) == 2
    assert "several trays; name one with --tray: 1, 2" in capsys.readouterr().err
    assert main(["tray", "show", "Spring", "--tray", "2"]) == 0


def photographed(source: Path, target: Path, minute: int) -> Path:
    """The same picture with a time in it, as a phone writes it."""
    exif = Image.Exif()
    at = SET_AT + timedelta(days=7, minutes=minute)
    exif.get_ifd(0x8769)[0x9003] = f"{at:%Y:%m:%d %H:%M:%S}"
    exif.get_ifd(0x8769)[0x9011] = "+00:00"
    with Image.open(source) as picture:
        picture.save(target, exif=exif, quality=95)
    return target


def test_photos_of_an_evening_in_their_order(spring, tmp_path, capsys):
    """Taken in the other order than their names; one file is broken and named, the others are stored."""
    later = photographed(CLEAR, tmp_path / "1.jpg", 9)
    earlier = photographed(ALIVE, tmp_path / "2.jpg", 3)
    words = ["candle", "Spring", str(later), str(earlier), "--in-order", "--yes"]
    document = as_json(capsys, *words)  # all read: status 0
    assert (document["day"], document["stored"], document["added"]) == (7, True, 2)
    assert [(egg["cup"], Path(egg["photo"]).name) for egg in document["eggs"]] == [
        ("A1", "2.jpg"),
        ("A2", "1.jpg"),
    ]
    # What is known of these pictures: sample_images/pictures/truth.json (simulated).
    assert [egg["measured"]["proposal"]["status"] for egg in document["eggs"]] == ["developing", "clear"]
    shown = as_json(capsys, "tray", "show", "Spring")["tray"]["eggs"]
    assert [egg["look"]["measured"] if egg["look"] else None for egg in shown] == [
        document["eggs"][0]["measured"],
        document["eggs"][1]["measured"],
        None,
        None,
        None,
    ]
    kept = (spring / "photos").rglob("*.jpg")
    assert sorted(path.read_bytes() for path in kept) == sorted(
        path.read_bytes() for path in (later, earlier)
    )

    (tmp_path / "3.jpg").write_bytes(b"broken")
    capsys.readouterr()
    assert main(["candle", "Spring", str(earlier), str(tmp_path / "3.jpg"), "--cups", "A1,A3"]) == 1
    captured = capsys.readouterr()
    assert "3.jpg is not a picture" in captured.err
    assert "Stored 0 readings of day 7; 1 were stored already" in captured.out


def candled(words, *, answers=None) -> tuple[int, list[str]]:
    """Run the command with somebody at the terminal who gives these answers."""
    asked: list[str] = []

    def ask(question: str) -> bool:
        asked.append(question)
        return answers.pop(0)

    options = _parser().parse_args(["candle", *words])
    return candle.run(options, ask=None if answers is None else ask), asked


def test_nothing_is_stored_until_somebody_says_yes(spring, capsys, monkeypatch):
    words = ["Spring", str(CLEAR), "--in-order", "--day", "7"]
    monkeypatch.setattr("sys.stdin", None)
    assert candled(words) == (2, [])
    assert "run it again with --yes" in capsys.readouterr().err
    assert candled(words, answers=[False]) == (1, ["Store 1 readings of day 7 as listed?"])
    assert "Nothing was stored." in capsys.readouterr().out
    assert as_json(capsys, "tray", "show", "Spring")["tray"]["eggs"][0]["look"] is None
    assert candled(words, answers=[True])[0] == 0
    assert as_json(capsys, "tray", "show", "Spring")["tray"]["eggs"][0]["look"]["day"] == 7


def test_a_contradiction_is_asked_even_where_the_cups_were_named(spring, capsys):
    with rec.open_records() as records:
        add_look(records, eggs_by_cup()["A1"], day=5)
    status, asked = candled(["Spring", str(CLEAR), "--cups", "A1", "--day", "7"], answers=[True])
    assert (status, asked) == (0, ["Store 1 readings of day 7 as listed?"])
    shown = capsys.readouterr()
    assert "looks clear, but had veins on day 5; was it swapped with another egg?" in shown.err
    # The list shows what is stored, the earlier day in it, not what the picture alone says.
    assert "clear, review: contradicts an earlier day: looks clear, but had veins on day 5" in shown.out
    look = as_json(capsys, "tray", "show", "Spring")["tray"]["eggs"][0]["look"]
    assert look["measured"]["proposal"]["decision"] == "review"


def call(cup: str, status: str, entry: dict | None = None) -> None:
    egg = eggs_by_cup()[cup]
    with rec.open_records() as records:
        look = add_look(records, egg, entry, photo=cup.encode()) if entry else None
        with records.write() as session:
            rec.add_call(session, egg.id, status, who="Bob", proposal_id=look.proposal.id if look else None)


def test_the_pull_list_from_call_to_what_was_found(spring, capsys):
    call("B2", "early death")
    call("A2", "clear")
    call("A3", "developing")
    capsys.readouterr()
    assert main(["pull", "Spring"]) == 0
    out = capsys.readouterr().out
    assert [line.split()[2] for line in out.splitlines() if line.startswith("[ ]")] == ["A2", "B2"]
    assert "may burst" in out
    assert "local rules and your veterinarian come first" in out
    assert main(["pull", "Spring", "--tick", "b2", "--found", "ring", "--embryo-day", "5"]) == 0
    document = as_json(capsys, "pull", "Spring")
    assert [egg["cup"] for egg in document["to_pull"]] == ["A2"]
    (pulled,) = document["pulled"]
    assert pulled["outcome"]["found"] == "ring"
    assert pulled["outcome"]["embryo_day"] == 5
    assert pulled["outcome"]["who"] == "Ann"
    assert main(["pull", "Spring", "--untick", "B2"]) == 0
    assert [egg["cup"] for egg in as_json(capsys, "pull", "Spring")["to_pull"]] == ["A2", "B2"]


def test_one_wrong_cup_ticks_none(spring, capsys):
    call("A2", "clear")
    assert main(["pull", "Spring", "--tick", "A2", "A1"]) == 2
    assert "A1 is not on the pull list" in capsys.readouterr().err
    assert as_json(capsys, "pull", "Spring")["pulled"] == []


def test_an_egg_that_looks_alive_is_not_ticked_by_a_slip(spring, capsys):
    call("A1", "clear", measured("developing"))
    capsys.readouterr()
    assert main(["pull", "Spring", "--tick", "A1"]) == 2
    assert "candle it once more before pulling. If you are sure, add --yes." in capsys.readouterr().err
    assert main(["pull", "Spring", "--tick", "A1", "--yes"]) == 0
    assert "Nothing to pull in Spring. 1 pulled already." in capsys.readouterr().out
