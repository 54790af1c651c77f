"""``trayglow train`` on drawn eggs with made-up outcomes: learns, compares, adopts, keeps, puts back."""

from __future__ import annotations

import io
import json
import re
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from records_examples import SET_AT, measured

from incubation import records as rec
from models import own_looks
from models.heads import STATUSES
from models.judge import MODEL_NAME
from models.own_model import Correction
from review_ui import candling
from review_ui.command_line import main
from review_ui.errors import UsageError
from review_ui.services.own_model import keep_model, model_in_use, recorded_name, restore_model
from review_ui.services.training import gather, shipped_points
from sample_images.simulator import random_side_view

DRAWN = (("developing", 9), ("clear", 5))  # eggs a batch
SMALL = (300, 225)


def drawn_egg(seed: int, status: str, size: tuple[int, int] = SMALL) -> tuple[bytes, dict]:
    """A PNG of a drawn egg and its entry, outlined exactly."""
    photo = random_side_view(np.random.default_rng([9, seed]), size=size, status=status, day=9, bad_share=0)
    egg = photo.eggs[0]
    file = io.BytesIO()
    Image.fromarray(photo.rgb).save(file, "PNG")
    entry = measured(status, 0.9, "review")
    entry["outline"] = {
        "centre_px": [float(v) for v in egg.centre_px],
        "length_px": egg.profile.length * egg.px_per_mm,
        "breadth_px": egg.profile.breadth * egg.px_per_mm,
        "axis_deg": float(egg.axis_deg) % 360,
        "long_axis_deg": float(egg.axis_deg) % 180,
        "polygon_px": np.asarray(egg.outline_px, dtype=float).round(1).tolist(),
    }
    return file.getvalue(), entry


@pytest.fixture(scope="module")
def photographed(tmp_path_factory) -> Path:
    """Two batches of drawn eggs, read on day 9; nothing is known of them yet."""
    folder = tmp_path_factory.mktemp("photographed")
    with rec.open_records(folder) as records:
        for number, name in enumerate(("Spring", "Summer")):
            with records.write() as session:
                batch = rec.new_batch(session, name=name, species="chicken", set_at=SET_AT)
                tray = rec.add_tray(session, batch.id, name="1", rows=2, columns=7)
                eggs = rec.fill_tray(session, tray.id)
            statuses = [status for status, count in DRAWN for _ in range(count)]
            for place, (egg, status) in enumerate(zip(eggs, statuses, strict=True)):
                data, entry = drawn_egg(100 * number + place, status)
                with records.write() as session:
                    photo = rec.store_photo(session, data, name="egg.png")
                    rec.add_reading(
                        session,
                        egg_id=egg.id,
                        photo_id=photo.id,
                        day=9,
                        view="side",
                        model=MODEL_NAME,
                        measured=entry,
                    )
    return folder


@pytest.fixture
def folder(photographed, tmp_path) -> Path:
    place = tmp_path / "data"
    shutil.copytree(photographed, place)
    return place


def outcomes(folder: Path, found: dict[str, str], *, share: float = 1.0) -> None:
    """Record an outcome for eggs, by what was drawn."""
    with rec.open_records(folder) as records, records.write() as session:
        for batch in rec.list_batches(session):
            looks = rec.looks_of_batch(session, batch.id)
            for look in looks[: round(share * len(looks))]:
                status = look.proposal.status
                rec.add_outcome(session, look.reading.egg_id, found[status], who="Ann")


TRUE = {"developing": "hatched", "clear": "no development"}
# As if everything were the other way round in this person's light: what the shipped model has wrong.
TURNED = {"developing": "no development", "clear": "hatched"}


def run(folder: Path, *words: str) -> int:
    return main(["train", "--data", str(folder), "--who", "Ann", *words])


def test_nothing_to_learn_from(folder, capsys):
    assert run(folder) == 2
    assert "There is nothing to learn from yet" in capsys.readouterr().err


def test_too_few_outcomes_change_nothing(folder, capsys):
    outcomes(folder, TRUE, share=0.3)
    assert run(folder) == 1
    out = capsys.readouterr().out
    assert "Not adopted: there are too few eggs to measure on" in out
    assert "8 eggs in 8 photos of 2 batches: 8 hatched" in out
    with rec.open_records(folder) as records, records.read() as session:
        assert rec.own_models(session) == ()
        assert rec.model_choices(session) == ()


def test_a_better_model_is_adopted_kept_and_put_back(folder, capsys, tmp_path):
    outcomes(folder, TURNED)
    assert run(folder, "--json", str(tmp_path / "answer.json")) == 0
    out = capsys.readouterr().out
    assert "28 eggs in 28 photos of 2 batches: 10 hatched, 18 no development" in out
    assert "Adopted as own-1" in out
    assert "Each batch left out in turn; truth: outcomes." in out
    document = json.loads((tmp_path / "answer.json").read_text())
    assert (document["adopted"], document["model"], document["left_out"]) == (True, "own-1", "batch")
    for costly in ("living_confirmed", "dead_passed"):
        assert document["own"][costly] <= document["shipped"][costly]
    assert document["own"]["log_loss"] < document["shipped"]["log_loss"]

    with rec.open_records(folder) as records, records.read() as session:
        own = rec.chosen_model(session)
        assert own is not None
        file = rec.model_path(folder, "own-1")
        card = json.loads(file.read_text())["card"]
        assert card == own.card
    assert card["counts"]["eggs_by_outcome"] == {"hatched": 10, "no development": 18}
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", card["fitted"])
    assert card["code_version"]
    assert card["figures"]["own"]["living"] == 10
    assert card["pass_from"] >= shipped_points().pass_from

    assert run(folder, "--list") == 0
    listed = capsys.readouterr().out
    assert re.search(r"own-1 +in use +trained .* by Ann on 28 eggs", listed)
    assert listed.count("nothing is promised") == 2  # it has judged no egg yet
    assert run(folder, "--restore", "shipped") == 0
    assert "the shipped model judges your eggs" in capsys.readouterr().out
    assert run(folder, "--list") == 0
    listed = capsys.readouterr().out
    assert re.search(r"shipped +in use", listed)
    # Turned round: all 18 eggs drawn alive were "found" empty, and none of their proposals was a pass.
    assert "Of 18 eggs of yours known to have been clear or dead, none had been passed" in listed
    assert file.is_file()
    assert run(folder, "--restore", "own-1") == 0
    assert run(folder, "--restore", "own-1") == 0
    assert "in use already" in capsys.readouterr().out
    assert run(folder, "--restore", "own-9") == 2
    assert "no model 'own-9'; there are: shipped, own-1" in capsys.readouterr().err


def test_embeddings_are_made_once(folder, monkeypatch):
    outcomes(folder, TRUE)
    with rec.open_records(folder) as records:
        first = gather(records)
        monkeypatch.setattr(own_looks, "embeddings_of_photo", lambda task: pytest.fail("made again"))
        again = gather(records)
        assert np.array_equal(again.examples.embeddings, first.examples.embeddings)
        cache = folder / "models" / own_looks.CACHE_NAME
        cache.write_bytes(cache.read_bytes()[:1000])  # cut off: made again, not an error
        monkeypatch.undo()
        assert np.allclose(gather(records).examples.embeddings, first.examples.embeddings)


def test_the_stored_look_is_what_the_judge_saw(folder):
    """The chances kept for a look are those of the shipped heads on a crop by the exact outline."""
    outcomes(folder, TRUE)
    with rec.open_records(folder) as records:
        examples = gather(records).examples
    assert examples.chance.sum(axis=1) == pytest.approx(np.ones(28), abs=1e-5)
    # On drawn eggs in a good light the shipped model is mostly right; a wrong crop would not be.
    assert (examples.chance.argmax(axis=1) == examples.statuses).mean() > 0.6


def test_a_photo_that_is_gone_is_named_and_the_others_teach(folder):
    outcomes(folder, TRUE)
    with rec.open_records(folder) as records:
        with records.read() as session:
            gone = rec.looks_of_batch(session, 1)[0].photo.path
        gone.unlink()
        gathered = gather(records)
    assert len(gathered.examples) == 27
    assert len(gathered.problems) == 1
    assert gone.name in gathered.problems[0]


def test_photos_opened_side_by_side_give_the_same(photographed, tmp_path):
    with rec.open_records(photographed) as records, records.read() as session:
        looks = rec.looks_of_batch(session, 1)
    here, _ = own_looks.look_embeddings(looks, file=tmp_path / "here.npz")
    told: list[tuple[int, int]] = []
    with ThreadPoolExecutor(2) as pool:
        there, _ = own_looks.look_embeddings(
            looks, file=tmp_path / "there.npz", pool=pool, progress=lambda *now: told.append(now)
        )
    assert here.keys() == there.keys()
    assert len(here) == told[-1][0] == told[-1][1] == 14
    for reading_id, embedding in here.items():
        assert np.array_equal(embedding, there[reading_id])


def test_candling_keeps_what_the_judge_saw_so_that_training_opens_no_photo(folder, tmp_path, monkeypatch):
    photo = tmp_path / "egg.png"
    photo.write_bytes(drawn_egg(500, "developing", (640, 480))[0])
    (file,) = candling.examine_photos([photo], day=9, species="chicken")
    with rec.open_records(folder) as records:
        with records.write() as session:
            batch = rec.new_batch(session, name="Autumn", species="chicken", set_at=SET_AT)
            tray = rec.add_tray(session, batch.id, name="1", rows=1, columns=1)
            eggs = rec.fill_tray(session, tray.id)
        matching = candling.match_cups([file], eggs=eggs, cups=["A1"])
        (look,) = candling.store_matching(records, matching, day=9).looks
    made_again = tmp_path / "made_again.npz"
    anew, _ = own_looks.look_embeddings([look], file=made_again)
    monkeypatch.setattr(own_looks, "embeddings_of_photo", lambda task: pytest.fail("opened again"))
    kept, _ = own_looks.look_embeddings([look], file=folder / "models" / own_looks.CACHE_NAME)
    # The stored outline is rounded to tenths of a pixel, the one the judge saw is not.
    one, other = kept[look.reading.id], anew[look.reading.id]
    assert np.corrcoef(one, other)[0, 1] > 0.98


def skewed(strength: float = 30.0) -> Correction:
    """A correction that is sure that every egg is clear."""
    size = own_looks.EMBEDDING_SIZE
    toward = strength * np.eye(len(STATUSES))[0]
    return Correction(np.zeros((size, 3)), toward, 1.0, np.zeros(size), 0.0)


CARD = {"pass_from": 0.8, "confirm_from": 0.75, "day_half_width": 3.0}


def test_candling_uses_the_adopted_model_and_says_which(folder, tmp_path):
    data, _ = drawn_egg(500, "developing", (640, 480))
    photo = tmp_path / "egg.png"
    photo.write_bytes(data)
    with rec.open_records(folder) as records:
        assert model_in_use(records).name == MODEL_NAME
        own = keep_model(records, skewed(), card=CARD, who="Ann")
        model = model_in_use(records)
        assert model.name == recorded_name(own) == f"{MODEL_NAME}+own-1"
        (file,) = candling.examine_photos([photo], day=9, species="chicken", model=model)
        assert file.examined.record["eggs"][0]["proposal"]["probability"]["clear"] > 0.99
        with records.read() as session:
            eggs = rec.eggs_of(session, batch_id=1)
        matching = candling.match_cups([file], eggs=eggs, cups=["A1"])
        (look,) = candling.store_matching(records, matching, day=9).looks
        assert look.reading.model == f"{MODEL_NAME}+own-1"
        (plain,) = candling.examine_photos([photo], day=9, species="chicken")
    assert plain.examined.record["eggs"][0]["proposal"]["probability"]["clear"] < 0.99


def test_the_candle_command_refuses_a_tampered_model_and_names_it(folder, tmp_path, capsys):
    data, _ = drawn_egg(500, "developing")
    photo = tmp_path / "egg.png"
    photo.write_bytes(data)
    with rec.open_records(folder) as records:
        own = keep_model(records, skewed(), card=CARD, who="Ann")
        path = rec.model_path(folder, own.name)
        path.write_bytes(path.read_bytes().replace(b"30.0", b"31.0", 1))
        with pytest.raises(UsageError, match="changed, damaged or exchanged"):
            model_in_use(records)
    words = ["candle", "Spring", str(photo), "--cups", "A1", "--day", "9", "--data", str(folder)]
    assert main(words) == 2
    said = capsys.readouterr().err
    assert str(path) in said
    assert "trayglow train --restore" in said
    assert len(said.strip().splitlines()) == 1
    assert run(folder, "--restore", "shipped") == 0
    assert run(folder, "--restore", "own-1") == 2  # still the tampered one


def test_a_model_that_cannot_be_kept_is_not_recorded(folder):
    blocked = folder / "models"
    blocked.write_bytes(b"in the way")
    with rec.open_records(folder) as records:
        with pytest.raises(UsageError, match="could not be kept"):
            keep_model(records, skewed(), card=CARD, who="Ann")
        with records.read() as session:
            assert rec.own_models(session) == ()
            assert rec.chosen_model(session) is None


def test_every_choice_stays_in_the_records(folder):
    with rec.open_records(folder) as records:
        keep_model(records, skewed(), card=CARD, who="Ann")
        keep_model(records, skewed(1.0), card=CARD, who="Ben")
        restore_model(records, "own-1", who="Ann")
        restore_model(records, "Shipped", who="Ann")
        with records.read() as session:
            choices = [(one.model_id, one.who, one.note) for one in rec.model_choices(session)]
    assert choices == [(1, "Ann", ""), (2, "Ben", ""), (1, "Ann", "restored"), (None, "Ann", "restored")]


def test_what_calls_teach(folder):
    """Blind calls as much as outcomes, calls with the proposal in view a quarter, outcomes above both."""
    with rec.open_records(folder) as records:
        with records.write() as session:
            looks = rec.looks_of_batch(session, 1)
            for number, (look, shown) in enumerate(zip(looks[:4], (False, True, False, False), strict=True)):
                rec.add_call(
                    session,
                    look.reading.egg_id,
                    "cannot tell" if number == 3 else "clear",
                    who="Ann",
                    proposal_id=look.proposal.id,
                    proposal_shown=shown,
                )
            rec.add_outcome(session, looks[2].reading.egg_id, "hatched", who="Ann")
        gathered = gather(records)
    examples = gathered.examples
    by_egg = {int(e): i for i, e in enumerate(examples.eggs)}
    ids = [look.reading.egg_id for look in looks[:4]]
    assert ids[3] not in by_egg
    rows = [by_egg[i] for i in ids[:3]]
    assert examples.weights[rows] == pytest.approx([1.0, 0.25, 1.0])
    assert [STATUSES[s] for s in examples.statuses[rows]] == ["clear", "clear", "developing"]
    assert examples.trusted[rows].tolist() == [True, False, True]
    assert examples.verified[rows].tolist() == [False, False, True]
    assert (gathered.counts["eggs_by_blind_call"], gathered.counts["eggs_by_call"]) == (1, 1)
