"""Opening photos: the same picture, whatever file it comes in."""

from __future__ import annotations

import hashlib
import io
import struct
import threading
import zlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps

from vision.photo import PhotoError, PhotoLimits, open_photo, printable

NAIVE = datetime(2024, 5, 6, 21, 8, 9)  # noqa: DTZ001 (local time, as the camera wrote it)


def _scene(height: int = 120, width: int = 200) -> np.ndarray:
    """Smooth, so that lossy formats keep it, with each corner another colour."""
    y, x = np.mgrid[0:height, 0:width]
    red = 40 + 180 * x / width
    green = 30 + 160 * y / height
    blue = 200 - 120 * (x + y) / (height + width)
    return np.stack([red, green, blue], axis=-1).round().astype(np.uint8)


def _save(path: Path, rgb: np.ndarray, **options: object) -> Path:
    Image.fromarray(rgb).save(path, **options)
    return path


@pytest.mark.parametrize(
    ("suffix", "options", "tolerance"),
    [
        # Lossless formats give the very numbers; lossy ones stay near at high quality.
        (".png", {}, 0),
        (".tif", {"compression": "tiff_lzw"}, 0),
        (".webp", {"lossless": True}, 0),
        (".jpg", {"quality": 95, "subsampling": 0}, 4),
        (".heic", {"quality": 95}, 8),
    ],
)
def test_each_format_gives_the_same_picture(tmp_path, suffix, options, tolerance):
    path = _save(tmp_path / f"a{suffix}", _scene(), **options)
    photo = open_photo(path)
    assert photo.rgb.dtype == np.uint8
    assert photo.rgb.shape == (120, 200, 3)
    assert (photo.width_px, photo.height_px) == (200, 120)
    assert np.abs(photo.rgb.astype(int) - _scene()).max() <= tolerance
    assert photo.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert photo.taken_at is None


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif", ".webp"])
def test_orientation_is_applied(tmp_path, suffix, orientation):
    """Against Pillow's own exif_transpose."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = _save(tmp_path / f"a{suffix}", _scene(), exif=exif)
    with Image.open(path) as picture:
        picture.load()
        expected = np.asarray(ImageOps.exif_transpose(picture).convert("RGB"))
    assert expected.shape[:2] == ((200, 120) if orientation >= 5 else (120, 200))
    assert np.array_equal(open_photo(path).rgb, expected)


@pytest.mark.parametrize("orientation", [0, 9, 99])
def test_a_meaningless_orientation_leaves_the_picture_as_it_is(tmp_path, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = _save(tmp_path / "a.png", _scene(), exif=exif)
    assert np.array_equal(open_photo(path).rgb, _scene())


def test_heic_is_turned_once(tmp_path):
    """A phone's HEIC says its rotation twice, in the container and in EXIF."""
    import pillow_heif

    exif = Image.Exif()
    exif[0x0112] = 6
    heic = pillow_heif.from_pillow(Image.fromarray(_scene()))
    heic.info["exif"] = exif.tobytes()
    heic.save(tmp_path / "a.heic", quality=95)
    assert b"irot" in (tmp_path / "a.heic").read_bytes()
    expected = np.rot90(_scene(), -1)  # orientation 6: turn a quarter clockwise to view
    photo = open_photo(tmp_path / "a.heic")
    assert photo.rgb.shape == expected.shape
    assert np.abs(photo.rgb.astype(int) - expected).max() <= 8


def _with_time(path: Path, **tags: str) -> Path:
    numbers = {"original": 0x9003, "digitized": 0x9004, "original_offset": 0x9011, "digitized_offset": 0x9012}
    exif = Image.Exif()
    exif[0x0132] = "2030:01:01 00:00:00"  # when the file was last changed: not when it was taken
    for name, value in tags.items():
        exif.get_ifd(0x8769)[numbers[name]] = value
    return _save(path, _scene(), exif=exif)


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".webp", ".heic"])
def test_capture_time_with_its_offset(tmp_path, suffix):
    path = _with_time(tmp_path / f"a{suffix}", original="2024:05:06 21:08:09", original_offset="+02:00")
    taken = open_photo(path).taken_at
    assert taken == datetime(2024, 5, 6, 19, 8, 9, tzinfo=UTC)
    assert taken.utcoffset() == timedelta(hours=2)


@pytest.mark.parametrize("offset", ["", "   :  ", "+2:00", "nonsense", "+99:00"])
def test_capture_time_without_a_usable_offset_is_naive(tmp_path, offset):
    path = _with_time(tmp_path / "a.jpg", original="2024:05:06 21:08:09", original_offset=offset)
    assert open_photo(path).taken_at == NAIVE


@pytest.mark.parametrize("blank", ["", "0000:00:00 00:00:00", "    :  :     :  :  ", "2024:13:45 99:00:00"])
def test_a_blank_capture_time_falls_back_or_is_none(tmp_path, blank):
    path = _with_time(tmp_path / "a.jpg", original=blank, digitized="2024:05:06 21:08:09")
    assert open_photo(path).taken_at == NAIVE
    assert open_photo(_with_time(tmp_path / "b.jpg", original=blank)).taken_at is None


def test_broken_exif_does_not_hide_the_picture(tmp_path):
    path = _save(tmp_path / "a.jpg", _scene(), exif=b"Exif\0\0II*\0\xff\xff\xff\xff" + b"\x99" * 40)
    photo = open_photo(path)
    assert photo.rgb.shape == (120, 200, 3)
    assert photo.taken_at is None


def _profile_with_red_and_green_swapped() -> bytes:
    """sRGB with the columns for red and green exchanged: a wide, unmistakable change of colour."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    count = struct.unpack(">I", data[128:132])[0]
    place = {bytes(data[132 + 12 * i : 136 + 12 * i]): 132 + 12 * i for i in range(count)}
    red, green = place[b"rXYZ"], place[b"gXYZ"]
    data[red : red + 4], data[green : green + 4] = b"gXYZ", b"rXYZ"
    return bytes(data)


def test_colour_profile_is_honoured(tmp_path):
    """With red and green exchanged in the profile, they are exchanged in the sRGB picture.

    Tolerance 3: the profile's curves are rounded to 16 bits and the result to 8.
    """
    path = _save(tmp_path / "a.png", _scene(), icc_profile=_profile_with_red_and_green_swapped())
    assert np.abs(open_photo(path).rgb.astype(int) - _scene()[..., [1, 0, 2]]).max() <= 3


def test_srgb_profile_changes_nothing_visible(tmp_path):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    path = _save(tmp_path / "a.png", _scene(), icc_profile=profile)
    assert np.abs(open_photo(path).rgb.astype(int) - _scene()).max() <= 1  # rounding


def test_a_broken_or_unfitting_profile_is_ignored(tmp_path):
    grey = Image.fromarray(_scene()[..., 0])
    grey.save(tmp_path / "grey.png", icc_profile=_profile_with_red_and_green_swapped())
    assert np.array_equal(open_photo(tmp_path / "grey.png").rgb[..., 1], _scene()[..., 0])
    path = _save(tmp_path / "a.png", _scene(), icc_profile=b"no profile" * 30)
    assert np.array_equal(open_photo(path).rgb, _scene())


def test_sixteen_bit_grey_is_scaled_not_cut(tmp_path):
    values = (np.arange(64 * 64).reshape(64, 64) * 16).astype(np.uint16)
    for name in ("a.png", "a.tif"):
        Image.fromarray(values).save(tmp_path / name)
        got = open_photo(tmp_path / name).rgb
        assert np.abs(got[..., 0] - values / 257).max() <= 0.5  # rounded: 65535 becomes 255
        assert np.array_equal(got[..., 0], got[..., 2])


def test_sixteen_bit_colour(tmp_path):
    """A hand-made PNG (RFC 2083): Pillow cannot write one."""
    rgb = _scene().astype(np.uint16) * 257
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in rgb)

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", rgb.shape[1], rgb.shape[0], 16, 2, 0, 0, 0)
    (tmp_path / "a.png").write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )
    assert np.array_equal(open_photo(tmp_path / "a.png").rgb, _scene())


def test_grey_palette_and_cmyk(tmp_path):
    picture = Image.fromarray(_scene())
    picture.convert("L").save(tmp_path / "grey.jpg")
    grey = open_photo(tmp_path / "grey.jpg").rgb
    assert np.array_equal(grey[..., 0], grey[..., 1])
    few = picture.quantize(16)
    few.save(tmp_path / "palette.png")
    assert np.array_equal(open_photo(tmp_path / "palette.png").rgb, np.asarray(few.convert("RGB")))
    picture.convert("CMYK").save(tmp_path / "cmyk.jpg", quality=95, subsampling=0)
    assert np.abs(open_photo(tmp_path / "cmyk.jpg").rgb.astype(int) - _scene()).max() <= 6  # JPEG loss


def test_transparent_parts_are_black(tmp_path):
    rgba = np.dstack([_scene(), np.full(_scene().shape[:2], 255, np.uint8)])
    rgba[:60, :, 3] = 0
    Image.fromarray(rgba).save(tmp_path / "a.png")
    got = open_photo(tmp_path / "a.png").rgb
    assert not got[:60].any()
    assert np.array_equal(got[60:], _scene()[60:])


@pytest.mark.parametrize("suffix", [".png", ".webp", ".tif"])
def test_first_picture_of_several(tmp_path, suffix):
    frames = [Image.fromarray(_scene()), Image.fromarray(255 - _scene())]
    options = {"lossless": True} if suffix == ".webp" else {}
    frames[0].save(tmp_path / f"a{suffix}", save_all=True, append_images=frames[1:], **options)
    assert np.array_equal(open_photo(tmp_path / f"a{suffix}").rgb, _scene())


def test_limits_are_ours_and_checked_before_decoding(tmp_path):
    path = _save(tmp_path / "a.png", _scene())
    with pytest.raises(PhotoError, match=r"a\.png has 200 x 120 pixels .* save it smaller"):
        open_photo(path, limits=PhotoLimits(max_pixels=200 * 120 - 1))
    assert open_photo(path, limits=PhotoLimits(max_pixels=200 * 120)).rgb.shape == (120, 200, 3)
    with pytest.raises(PhotoError, match=r"at most 0 MB"):
        open_photo(path, limits=PhotoLimits(max_bytes=100))
    tiny = _save(tmp_path / "tiny.png", _scene(8, 200))
    with pytest.raises(PhotoError, match="too few to show an egg"):
        open_photo(tiny)


def test_pillow_limit_is_neither_used_nor_lost(tmp_path, monkeypatch):
    """Several threads at once leave Pillow's own limit as it was."""
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 1000)
    path = _save(tmp_path / "a.png", _scene())
    shapes: list[tuple[int, ...]] = []
    threads = [threading.Thread(target=lambda: shapes.append(open_photo(path).rgb.shape)) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert shapes == [(120, 200, 3)] * 8
    assert Image.MAX_IMAGE_PIXELS == 1000


def test_raw_camera_file_is_refused_not_read_as_its_thumbnail(tmp_path):
    from PIL import TiffImagePlugin

    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[50706] = b"\1\4\0\0"  # DNGVersion
    tags.tagtype[50706] = 1
    Image.fromarray(_scene()).save(tmp_path / "a.dng", format="TIFF", tiffinfo=tags)
    with pytest.raises(PhotoError, match="raw camera file; save the photo as a JPEG"):
        open_photo(tmp_path / "a.dng")


def _bytes(**options: object) -> bytes:
    noise = np.random.default_rng(5).integers(0, 255, (96, 96, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(noise).save(out, **options)
    return out.getvalue()


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.9, 0.99])
@pytest.mark.parametrize(
    "options",
    [{"format": "JPEG"}, {"format": "JPEG", "progressive": True}, {"format": "PNG"}, {"format": "WEBP"},
     {"format": "HEIF"}, {"format": "TIFF"}, {"format": "TIFF", "compression": "jpeg"}],
    ids=lambda o: "-".join(str(v) for v in o.values()),
)  # fmt: skip
def test_cut_off_files_are_refused(tmp_path, options, share):
    data = _bytes(**options)
    path = tmp_path / "cut.jpg"
    path.write_bytes(data[: int(share * len(data))])
    with pytest.raises(PhotoError, match=r"cut\.jpg is damaged or cut off; copy it from the phone again\.$"):
        open_photo(path)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_an_interrupted_copy_with_a_zero_tail_is_refused(tmp_path, kind):
    data = _bytes(format=kind, quality=95)
    (tmp_path / "a").write_bytes(data[: len(data) // 2] + bytes(len(data) - len(data) // 2))
    with pytest.raises(PhotoError, match="damaged or cut off"):
        open_photo(tmp_path / "a")


def test_names_are_shown_without_control_characters():
    assert printable("a\x1b[2Jb\n.jpg") == "a\\x1b[2Jb\\n.jpg"
    assert printable("Eier für Müller.jpg") == "Eier für Müller.jpg"
