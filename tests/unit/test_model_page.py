"""The page “Model” and the line on the page “Confirm”, launched by Streamlit's own AppTest."""

from __future__ import annotations

import numpy as np
from records_examples import add_look, measured, new_tray
from screens_examples import page
from streamlit.testing.v1 import AppTest

from incubation import records as rec
from models.agreement import BatchRow
from models.backbone import EMBEDDING_SIZE
from models.earned_bound import upper_bound
from models.earned_words import percent
from models.judge import MODEL_NAME
from models.own_model import Correction
from review_ui.services.model_standing import batch_table
from review_ui.services.own_model import keep_model, recorded_name

FIGURES = {
    "living": 30, "living_confirmed": 0, "living_looked_at": 9, "dead": 5, "dead_passed": 1,
    "log_loss": 0.3, "day_error": 1.5,
}  # fmt: skip
COUNTS = {
    "eggs": 35, "looks": 70, "batches": 2, "eggs_by_outcome": {"hatched": 30, "ring": 5},
    "eggs_by_blind_call": 0, "eggs_by_call": 0,
}  # fmt: skip
CARD = {
    "pass_from": 0.8,
    "confirm_from": 0.75,
    "day_half_width": 3.0,
    "counts": COUNTS,
    "figures": {
        "own": FIGURES, "shipped": FIGURES | {"dead_passed": 3}, "left_out": "batch", "truth": "outcomes",
        "batches": 2,
    },
}  # fmt: skip


def shown(at: AppTest) -> str:
    kinds = (at.markdown, at.info, at.warning, at.error, at.success, at.caption, at.subheader)
    return "\n".join(element.value for kind in kinds for element in kind)


def hatched(folder, *, alive: int, wrong: int = 0, model: str = MODEL_NAME, name: str = "Spring") -> None:
    """Eggs photographed on day 7 that hatched later, so many of them proposed as clear."""
    with rec.open_records(folder) as records:
        _, _, eggs = new_tray(records, name=name, rows=1, columns=alive)
        with records.write() as session:
            photo = rec.store_photo(session, b"p" + name.encode(), name="egg.jpg")
            for place, egg in enumerate(eggs):
                entry = measured("clear", 0.9, "confirm") if place < wrong else measured()
                rec.add_reading(
                    session, egg_id=egg.id, photo_id=photo.id, day=7, view="side", model=model, measured=entry
                )
        with records.write() as session:
            for egg in eggs:
                rec.add_outcome(session, egg.id, "hatched", who="Ann")


def own(folder) -> rec.OwnModel:
    size = EMBEDDING_SIZE
    nothing = Correction(np.zeros((size, 3)), np.zeros(3), 1.0, np.zeros(size), 0.0)
    with rec.open_records(folder) as records:
        return keep_model(records, nothing, card=CARD, who="Ann")


def test_with_nothing_recorded_nothing_is_promised(data):
    at = page("model")
    assert not at.exception
    assert not at.error
    said = shown(at)
    assert f"the **shipped model** ({MODEL_NAME})" in said
    assert said.count("nothing is promised") == 2
    assert "For at most 5 %: 59 more eggs without such an error." in said  # ln 0.05 / ln 0.95 = 58.4
    assert "Nobody has called an egg" in said


def test_count_and_bound_are_those_of_the_records(data):
    hatched(data, alive=60, wrong=2)
    said = shown(page("model", who="Ann"))
    bound = percent(upper_bound(2, 60))
    assert f"known to have been alive, 2 had been proposed clear or dead: at most {bound}" in said
    assert "Spring A1, Spring A2" in said
    # The page follows what is recorded next, although it keeps what it worked out.
    hatched(data, alive=40, name="Summer")
    assert "Of 100 eggs of yours known to have been alive, 2" in shown(page("model", who="Ann"))


def test_the_page_where_eggs_are_confirmed_says_count_and_bound(data):
    hatched(data, alive=59)
    with rec.open_records(data) as records:
        _, _, (egg,) = new_tray(records, name="Autumn", rows=1, columns=1)
        add_look(records, egg, measured("clear", 0.95, "confirm", veins=False))
        with records.read() as session:
            batch = rec.batch_by_name(session, "Autumn")
    said = shown(page("confirm", who="Ann", batch=str(batch.id)))
    assert "Of 59 eggs of yours known to have been alive, none had been proposed like this" in said
    assert f"at most {percent(upper_bound(0, 59))} at 95 %" in said


def test_what_another_model_earned_is_not_the_new_ones(data):
    hatched(data, alive=30)
    assert "Of 30 eggs" in shown(page("model", who="Ann"))
    model = own(data)
    said = shown(page("model", who="Ann"))
    assert "In use: **own-1**, fitted to your eggs" in said
    assert "Of 30 eggs" not in said
    assert said.count("nothing is promised") == 2
    hatched(data, alive=12, model=recorded_name(model), name="Summer")
    assert "Of 12 eggs" in shown(page("model", who="Ann"))


def test_an_earlier_model_is_put_back_only_after_a_yes(data):
    own(data)
    at = page("model", who="Ann")
    assert "own-1 learnt from 35 eggs in 70 photos of 2 batches: 30 hatched, 5 ring." in shown(at)
    assert "Clear or dead eggs passed | 3 of 5 | 1 of 5" in shown(at)
    at.button(key="use_shipped").click().run()
    with rec.open_records(data) as records, records.read() as session:
        assert rec.chosen_model(session).name == "own-1"  # nothing happened yet
    at.button(key="no_shipped").click().run()
    at.button(key="use_shipped").click().run()
    at.button(key="yes_shipped").click().run()
    assert not at.exception
    assert "From now on the shipped model judges your eggs." in shown(at)
    with rec.open_records(data) as records, records.read() as session:
        assert rec.chosen_model(session) is None
    at.button(key="use_own-1").click().run()
    at.button(key="yes_own-1").click().run()
    assert "In use: **own-1**" in shown(at)


def test_a_tampered_model_is_said_to_be_and_the_shipped_one_can_be_put_back(data):
    own(data)
    path = rec.model_path(data, "own-1")
    path.write_bytes(b"{}")
    at = page("model", who="Ann")
    assert not at.exception
    assert len(at.error) == 1
    assert str(path) in at.error[0].value
    at.button(key="use_shipped").click().run()
    at.button(key="yes_shipped").click().run()
    assert not at.error


def test_training_with_nothing_to_learn_from_is_one_sentence(data):
    with rec.open_records(data) as records:
        new_tray(records)
    at = page("model", who="Ann")
    at.button(key="train").click().run()
    assert not at.exception
    assert len(at.error) == 1
    assert "There is nothing to learn from yet" in at.error[0].value


def test_agreement_is_shown_and_a_drop_announced(data):
    with rec.open_records(data) as records:
        for name, eggs, overruled in (("Spring", 60, 2), ("Summer", 30, 15)):
            _, _, placed = new_tray(records, name=name, rows=1, columns=eggs)
            with records.write() as session:
                photo = rec.store_photo(session, b"p" + name.encode(), name="egg.jpg")
                for place, egg in enumerate(placed):
                    look = rec.add_reading(
                        session, egg_id=egg.id, photo_id=photo.id, day=7, view="side", model=MODEL_NAME,
                        measured=measured(),
                    )  # fmt: skip
                    status = "clear" if place < overruled else "developing"
                    rec.add_call(session, egg.id, status, who="Ann", proposal_id=look.proposal.id)
    said = shown(page("model"))
    # Agreeing on 73 of 90, the model always saying the same, is what chance alone would give: kappa 0.
    assert "| Ann, model | 73 of 90 | 0.00 |" in said
    assert "| Summer | 15 of 30 | – |" in said
    assert "| developing | 95–100 | 17 of 90 | – |" in said
    assert "Has your lamp or phone changed?" in said
    assert "Has your lamp or phone changed?" in shown(page("now"))  # where one starts


def test_names_are_not_taken_for_markdown():
    assert "a\\|b\\*c" in batch_table([BatchRow("a|b*c", 1, 0, 0, 0)])
