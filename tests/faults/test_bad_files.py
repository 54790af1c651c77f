"""A folder of bad and odd files beside one good photo: every one is read, or named with its reason.

What is not a photo must be refused in one sentence; what is one in an unusual form (four inks, 16
bits, grey, several pictures, damaged notes) must be read. Nothing may hang or stop the others.
"""

from __future__ import annotations

import io
import json
import os
import re
import struct
import sys
import zipfile
import zlib
from pathlib import Path

import jsonschema
import numpy as np
import pillow_heif
import pytest
from PIL import Image, TiffImagePlugin
from scipy.ndimage import gaussian_filter

from review_ui.command_line import main
from review_ui.examine_json import json_schema

pillow_heif.register_heif_opener()

READ = None  # in place of the reason why not
CUT = "is damaged or cut off; copy it from the phone again"
NO_PICTURE = "is not a picture, whatever its name says; name a JPEG, PNG, TIFF, WebP or HEIC file"


def egg() -> Image.Image:
    """An egg glowing in the dark, drawn by hand."""
    y, x = np.mgrid[0:480, 0:360]
    inside = ((x - 180) / 95) ** 2 + ((y - 240) / 125) ** 2 < 1
    light = gaussian_filter(inside * (0.55 + 0.45 * y / 480), 2.5)
    noise = np.random.default_rng(3).normal(0, 3, (480, 360, 3))
    rgb = light[..., None] * np.array([235, 95, 40]) + 8 + noise
    return Image.fromarray(rgb.clip(0, 255).astype(np.uint8))


def encoded(picture: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


def png_chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png_of_size(width: int, height: int) -> bytes:
    """A PNG that claims this size and holds one row."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(bytes(1 + 3 * min(width, 100)))
    return (
        b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", head) + png_chunk(b"IDAT", body) + png_chunk(b"IEND", b"")
    )


def jpeg_of_size(width: int, height: int) -> bytes:
    """The good JPEG with another size in its frame header (ITU-T T.81, B.2.2)."""
    data = bytearray(encoded(egg(), "JPEG"))
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def bad_check_sum() -> bytes:
    data = bytearray(encoded(egg(), "PNG"))
    at = data.index(b"IDAT")
    length = struct.unpack(">I", data[at - 4 : at])[0]
    data[at + 4 + length] ^= 0xFF
    return bytes(data)


def sixteen_bit_grey() -> Image.Image:
    return Image.fromarray(np.asarray(egg().convert("L")).astype(np.uint16) * 257)


def with_orientation(value: int) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = value
    return exif


def raw_camera_tags() -> TiffImagePlugin.ImageFileDirectory_v2:
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[50706], tags.tagtype[50706] = b"\1\4\0\0", 1
    return tags


def zip_archive() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("a.jpg", encoded(egg(), "JPEG"))
    return out.getvalue()


JPEG = encoded(egg(), "JPEG", quality=92)
HEIC = encoded(egg(), "HEIF", quality=92)
OTHER = Image.fromarray(255 - np.asarray(egg()))

# file name: (content, why it is not read)
FILES: dict[str, tuple[bytes, str | None]] = {
    "good.jpg": (JPEG, READ),
    # cut off, or not there at all
    "empty.jpg": (b"", r"is empty \(0 bytes\)"),
    "cut in the signature.jpg": (JPEG[:3], CUT),
    "cut in the head.jpg": (JPEG[:300], CUT),
    "cut in the middle.jpg": (JPEG[: len(JPEG) // 2], CUT),
    "cut at nine tenths.jpg": (JPEG[: len(JPEG) * 9 // 10], CUT),
    "cut before the end.jpg": (JPEG[:-2], CUT),
    "zeros at the end.jpg": (JPEG[: len(JPEG) // 2] + bytes(len(JPEG) // 2), CUT),
    "cut progressive.jpg": (encoded(egg(), "JPEG", progressive=True)[:-3000], CUT),
    "cut.png": (encoded(egg(), "PNG")[:-20000], CUT),
    "cut before the end.png": (encoded(egg(), "PNG")[:-8], CUT),
    "cut.webp": (encoded(egg(), "WEBP")[:-1000], CUT),
    "cut.heic": (HEIC[:-1000], CUT),
    "cut.tif": (encoded(egg(), "TIFF")[:-1000], CUT),
    "bad check sum.png": (bad_check_sum(), CUT),
    # other things
    "text.jpg": (b"Eggs of pen 4, day 7\n" * 30, NO_PICTURE),
    "random bytes.jpg": (np.random.default_rng(9).bytes(5000), NO_PICTURE),
    "zeros.jpg": (bytes(5000), NO_PICTURE),
    "web page.jpg": (b"<!DOCTYPE html><html><body>Sign in</body></html>", "is a web page"),
    "drawing.jpg": (b"<?xml version='1.0'?><svg xmlns='http://www.w3.org/2000/svg'/>", "is an SVG drawing"),
    "document.jpg": (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", "is a PDF document"),
    "moving.jpg": (
        encoded(egg().quantize(8), "GIF", save_all=True, append_images=[OTHER.quantize(8)]),
        "is a GIF picture",
    ),
    "bitmap.jpg": (encoded(egg(), "BMP"), "is a BMP picture"),
    "archive.jpg": (zip_archive(), "is a ZIP archive"),
    "video.jpg": (b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom" + bytes(200), "is a video"),
    "raw.dng": (encoded(egg(), "TIFF", tiffinfo=raw_camera_tags()), "is a raw camera file"),
    "measured numbers.tif": (encoded(egg().convert("F"), "TIFF"), "holds measured numbers"),
    # sizes that no photo has
    "200 megapixels.png": (png_of_size(20_000, 10_000), "has 20000 x 10000 pixels and at most 120 million"),
    "200 megapixels.jpg": (jpeg_of_size(20_000, 10_000), "has 20000 x 10000 pixels and at most 120 million"),
    "largest there is.png": (png_of_size(2**31 - 1, 2**31 - 1), "save it smaller"),
    "zero size.png": (png_of_size(0, 0), CUT),
    "zero height.jpg": (jpeg_of_size(360, 0), CUT),
    "one pixel.png": (encoded(egg().resize((1, 1)), "PNG"), "has only 1 x 1 pixels"),
    # photos in an unusual form
    "four inks.jpg": (encoded(egg().convert("CMYK"), "JPEG"), READ),
    "grey.jpg": (encoded(egg().convert("L"), "JPEG"), READ),
    "sixteen bits.png": (encoded(sixteen_bit_grey(), "PNG"), READ),
    "sixteen bits.tif": (encoded(sixteen_bit_grey(), "TIFF"), READ),
    "palette.png": (encoded(egg().quantize(200), "PNG"), READ),
    "transparent.png": (encoded(egg().convert("RGBA"), "PNG"), READ),
    "animated.png": (encoded(egg(), "PNG", save_all=True, append_images=[OTHER]), READ),
    "animated.webp": (encoded(egg(), "WEBP", save_all=True, append_images=[OTHER], quality=92), READ),
    "two pages.tif": (encoded(egg(), "TIFF", save_all=True, append_images=[OTHER]), READ),
    "two pictures.jpg": (encoded(egg(), "MPO", save_all=True, append_images=[OTHER]), READ),
    "progressive.jpg": (encoded(egg(), "JPEG", progressive=True), READ),
    "phone.heic": (HEIC, READ),
    "wrong ending.png": (JPEG, READ),
    "broken notes.jpg": (encoded(egg(), "JPEG", exif=b"Exif\0\0II*\0\xff\xff\xff\xff" + b"\x99" * 40), READ),
    "orientation 77.jpg": (encoded(egg(), "JPEG", exif=with_orientation(77)), READ),
    "broken profile.jpg": (encoded(egg(), "JPEG", icc_profile=b"no profile" * 50), READ),
    "more behind the end.jpg": (JPEG + b"trailer of a phone" * 100, READ),
}


def make_files(folder: Path) -> dict[str, str | None]:
    """All of them in ``folder``, with why each is not read."""
    expected = {name: reason for name, (_, reason) in FILES.items()}
    for name, (content, _) in FILES.items():
        (folder / name).write_bytes(content)

    (folder / "folder.jpg").mkdir()
    expected["folder.jpg"] = "is a folder, not a photo"
    with (folder / "too many bytes.jpg").open("wb") as file:
        file.write(JPEG)
        file.truncate(120_000_001)  # takes no room on the disk
    expected["too many bytes.jpg"] = "is 120 MB and at most 120 MB are read"
    expected["absent.jpg"] = "was not found"
    if sys.platform != "win32":
        (folder / "dangling.jpg").symlink_to(folder / "gone.jpg")
        expected["dangling.jpg"] = "is a link to a file that is not there"
        (folder / "circle.jpg").symlink_to(folder / "circle.jpg")
        expected["circle.jpg"] = "could not be read from the disk"
        (folder / "link.jpg").symlink_to(folder / "good.jpg")
        expected["link.jpg"] = READ
        os.mkfifo(folder / "pipe.jpg")
        expected["pipe.jpg"] = "is a pipe or a device"
        (folder / "device.jpg").symlink_to("/dev/zero")
        expected["device.jpg"] = "is a pipe or a device"
        forbidden = folder / "forbidden.jpg"
        forbidden.write_bytes(JPEG)
        forbidden.chmod(0)
        # The administrator may read everything.
        expected["forbidden.jpg"] = READ if os.access(forbidden, os.R_OK) else "may not be read by this user"
    return expected


@pytest.fixture(scope="module")
def examined(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[dict[str, str | None], dict[str, dict], str, int]:
    """Expected reasons, photos of the JSON by name, standard error, exit status."""
    folder = tmp_path_factory.mktemp("photos")
    expected = make_files(folder)
    out = tmp_path_factory.mktemp("out") / "out.json"
    photos = [str(folder / name) for name in sorted(expected)]
    said = io.StringIO()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stderr", said)
        patch.setattr(sys, "stdout", io.StringIO())
        status = main(["examine", *photos, "--day", "8", "--json", str(out)])
    found = json.loads(out.read_text(encoding="ascii"))
    jsonschema.Draft202012Validator(json_schema()).validate(found)
    assert [photo["photo"] for photo in found["photos"]] == photos
    return expected, {Path(p["photo"]).name: p for p in found["photos"]}, said.getvalue(), status


@pytest.mark.timeout(120)
def test_each_is_read_or_named_with_its_reason_and_none_stops_the_others(examined):
    """One test, so that the folder is examined once however the tests are shared out."""
    expected, photos, said, status = examined
    assert len(expected) >= 50
    assert status == 1
    assert len(photos["good.jpg"]["eggs"]) == 1
    complaints = []
    for name, reason in expected.items():
        try:
            _check(name, reason, photos[name], said)
        except AssertionError as complaint:
            complaints.append(f"{name}: {complaint}")
    assert complaints == []
    # and nothing but these sentences is said
    assert len(said.splitlines()) == sum(reason is not READ for reason in expected.values())
    assert "Traceback" not in said
    assert "Warning" not in said


def _check(name: str, reason: str | None, photo: dict, said: str) -> None:
    error = photo["error"]
    if reason is READ:
        assert error is None, error
        assert len(photo["eggs"]) == 1
        return
    assert error is not None, f"{name} was read"
    assert re.search(reason, error), error
    assert name in error
    assert photo["eggs"] == []
    assert error in said.splitlines()
    # one sentence: what is wrong; what to do
    assert error.count(". ") == 0
    assert error.endswith(".")
    assert ";" in error
