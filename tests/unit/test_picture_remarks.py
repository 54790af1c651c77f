"""What to do about a bad picture reaches the person, once for all pictures that share the problem."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np

from review_ui.picture_remarks import advice, look_remarks, picture_remarks
from vision.quality import ADVICE
from vision.reading import AirCell, Embryo, LookHere, Outline, PhotoReading, Quality, Reading, Shell, Veins


def reading(*problems, cups=None):
    outline = Outline((10.0, 10.0), 12.0, 9.0, None, 90.0, np.zeros((4, 2)))
    eggs = tuple(
        Reading(
            outline,
            Quality(False, words),
            None,
            Veins(visible=None, length_per_area=None, area_fraction=None),
            Embryo(visible=None, area_fraction=None, centre_px=None),
            cup=None if cups is None else cups[i],
        )
        for i, words in enumerate(problems)
    )
    return PhotoReading(str(Path("a.jpg")), "0" * 64, 20, 20, None, "side", eggs)


def test_one_sentence_a_problem_names_all_pictures():
    remarks = picture_remarks(
        [
            ("a.jpg", reading(("blurred",))),
            ("b.jpg", reading(("too dark", "blurred"))),
            ("c.jpg", reading(())),
        ]
    )
    assert len(remarks) == 2
    assert remarks[0].startswith("a.jpg, b.jpg: the picture is blurred.")
    assert "tap on the egg to focus" in remarks[0]
    assert remarks[1].startswith("b.jpg: the picture is too dark.")


def test_eggs_of_a_tray_are_named_by_cup_and_not_all():
    cups = [f"A{i}" for i in range(1, 10)]
    (remark,) = picture_remarks([("tray.jpg", reading(*[("blurred",)] * 9, cups=cups))])
    assert remark.startswith("A1 on tray.jpg, A2 on tray.jpg")
    assert "A6 on tray.jpg and 3 more: the picture is blurred" in remark


def test_good_pictures_need_no_remark():
    assert picture_remarks([("a.jpg", reading(()))]) == ()
    assert advice([]) == ""


def test_records_of_earlier_versions_may_hold_words_that_are_no_more():
    assert advice(["smudged", "blurred"]) == ADVICE["blurred"]
    assert picture_remarks([("a.jpg", reading(("smudged",)))]) == ("a.jpg: the picture is smudged.",)


def test_what_to_look_at_is_named_with_its_egg_and_depends_on_the_species():
    photo = reading((), ())
    line = np.zeros((2, 2))
    loose = AirCell(0.1, None, None, 25.0, line, 0.9, unusual=("its rim leans 25 degrees",))
    odd = dataclasses.replace(
        photo.eggs[1], air_cell=loose, shell=Shell(66.0, (LookHere("a bright line", line),))
    )
    photo = dataclasses.replace(photo, eggs=(photo.eggs[0], odd))
    # 66 is a goose's usual index (Karabulut 2021) and a long hen's egg (72 to 76 are normal ones).
    words = ["a bright line", "its rim leans 25 degrees", "in this picture it looks too long for its kind"]
    assert look_remarks([("a.jpg", photo)], species="goose") == tuple(
        f"Look at egg 2 on a.jpg: {what}." for what in words[:2]
    )
    usable = dataclasses.replace(photo, eggs=(dataclasses.replace(odd, quality=Quality(True)),))
    assert look_remarks([("a.jpg", usable)], species="chicken")[-1] == f"Look at a.jpg: {words[2]}."
