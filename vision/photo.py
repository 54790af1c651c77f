"""Opens a photo file: upright, 8-bit sRGB, with its capture time, or one sentence why not.

A file is untrusted: it may be empty, cut off, of another kind, or claim a size that would fill
the memory. Sizes are checked before anything is decoded, and half a picture is refused rather
than measured.
"""

from __future__ import annotations

import hashlib
import io
import os
import stat
import threading
import warnings
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, ImageCms

pillow_heif.register_heif_opener(thumbnails=False)

_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "HEIF")
_KINDS_READ = "JPEG, PNG, TIFF, WebP or HEIC"
_COPY_AGAIN = "copy it from the phone again"
_SAVE_AS_JPEG = "save the photo as a JPEG and use that"

# EXIF 2.32 (CIPA DC-008) tag numbers.
_ORIENTATION, _EXIF_IFD = 0x0112, 0x8769
_DATE_AND_OFFSET = ((0x9003, 0x9011), (0x9004, 0x9012))  # DateTimeOriginal, then DateTimeDigitized
_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
# TIFF 6.0 tags; DNG 1.4 for the version tag that marks a raw file.
_NEW_SUBFILE_TYPE, _BITS_PER_SAMPLE, _DNG_VERSION = 254, 258, 50706

# What people drop into a folder of photos by mistake, told by the first bytes.
_OTHER_KINDS = (
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive or office document"),
    (b"8BPS", "a layered drawing-program file"),
    (b"\x1aE\xdf\xa3", "a video"),
)
_HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")

_settings = threading.Lock()


class PhotoError(ValueError):
    """A photo could not be read; the message is one sentence for the person, naming the file."""


@dataclass(frozen=True)
class PhotoLimits:
    """What is refused unread.

    The defaults let through every phone's full resolution up to 108 megapixels; a picture at
    the limit takes 360 MB once decoded.
    """

    max_bytes: int = 120_000_000
    max_pixels: int = 120_000_000
    min_side_px: int = 32


@dataclass(frozen=True, eq=False)
class Photo:
    """One photo, ready to be measured.

    Attributes
    ----------
    path
        The file, as it was named.
    rgb
        Upright picture in sRGB, uint8, shape (height, width, 3).
    sha256
        Of the file's bytes, in hexadecimal.
    taken_at
        When the shutter opened, by the camera's clock (EXIF ``DateTimeOriginal``, else
        ``DateTimeDigitized``). It has a time zone where the camera wrote its offset; otherwise
        it is naive: local time at the place of the photo. ``None`` where the file doesn't say.
        The date of the file itself is never used: copying changes it.
    """

    path: Path
    rgb: NDArray[np.uint8]
    sha256: str
    taken_at: datetime | None

    @property
    def height_px(self) -> int:
        return int(self.rgb.shape[0])

    @property
    def width_px(self) -> int:
        return int(self.rgb.shape[1])


def open_photo(path: str | os.PathLike[str], *, limits: PhotoLimits | None = None) -> Photo:
    """Read a JPEG, PNG, TIFF, WebP or HEIC file.

    The EXIF orientation is applied and an embedded colour profile converted to sRGB; without a
    profile, or with a broken one, the numbers are taken to be sRGB. 16-bit, grey, palette and
    CMYK pictures are converted, transparent parts shown on black (the surroundings of a candled
    egg), and of an animation or a file of several pages the first picture is taken.

    Parameters
    ----------
    path
        The file; symbolic links are followed.
    limits
        Largest file and picture; ``PhotoLimits()`` where not given.

    Raises
    ------
    PhotoError
        For a missing, unreadable, empty, cut off, broken, too large or too small file, a folder,
        a pipe or device, and every other kind of file.
    """
    limits = limits or PhotoLimits()
    name = printable(path)
    data = _file_bytes(Path(path), name, limits.max_bytes)
    try:
        rgb, taken_at = _decode(data, name, limits)
    except PhotoError:
        raise
    except MemoryError:
        raise PhotoError(
            f"{name} needs more memory than is free; close other programs and try again."
        ) from None
    except Exception as error:
        # Decoders meet damaged files with nearly every exception there is.
        raise PhotoError(_why_undecodable(data, name)) from error
    return Photo(path=Path(path), rgb=rgb, sha256=hashlib.sha256(data).hexdigest(), taken_at=taken_at)


def printable(path: str | os.PathLike[str]) -> str:
    """The name of a file for any screen: undecodable bytes and control characters escaped."""
    text = os.fsencode(path).decode("utf-8", "backslashreplace")
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def _file_bytes(path: Path, name: str, max_bytes: int) -> bytes:
    """The content of an ordinary file of allowed size."""
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise PhotoError(f"{name} is a folder, not a photo; name the photos in it, such as {name}/*.jpg.")
        if not stat.S_ISREG(status.st_mode):
            # Reading a pipe or a device could wait for ever.
            raise PhotoError(f"{name} is a pipe or a device, not a file; name a photo file.")
        if status.st_size == 0:
            raise PhotoError(f"{name} is empty (0 bytes); {_COPY_AGAIN}.")
        if status.st_size > max_bytes:
            raise PhotoError(
                f"{name} is {status.st_size / 1e6:,.0f} MB and at most {max_bytes / 1e6:,.0f} MB are read; "
                f"{_SAVE_AS_JPEG}."
            )
        with path.open("rb") as file:
            return file.read(max_bytes)
    except PhotoError:
        raise
    except FileNotFoundError:
        if path.is_symlink():
            raise PhotoError(
                f"{name} is a link to a file that is not there; name the photo itself."
            ) from None
        raise PhotoError(f"{name} was not found; check the name and the folder.") from None
    except PermissionError:
        raise PhotoError(f"{name} may not be read by this user; change the file's permissions.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise PhotoError(
            f"{name} could not be read from the disk ({why}); check the disk and the name."
        ) from error


def _decode(data: bytes, name: str, limits: PhotoLimits) -> tuple[NDArray[np.uint8], datetime | None]:
    with _pillow_quiet():
        picture = Image.open(io.BytesIO(data), formats=_FORMATS)
    with picture:
        _check_size(picture.size, name, limits)
        _check_whole(picture, data, name)
        _check_not_raw(picture, data, name)
        picture.seek(0)
        picture.load()
        with _pillow_quiet():
            orientation, taken_at = _notes(picture)
        upright = _srgb(picture, name)
        if orientation in _UPRIGHT:
            upright = upright.transpose(_UPRIGHT[orientation])
        return np.array(upright, dtype=np.uint8), taken_at


@contextmanager
def _pillow_quiet() -> Iterator[None]:
    """For the short time of reading a file's head, no word from Pillow itself.

    It warns of damaged EXIF notes and warns of, or refuses, large pictures, by settings for the
    whole process. Here the size is checked right after, against our own limits and in our own
    words, and damaged notes are left aside. The lock keeps threads from undoing each other's change.
    """
    with _settings, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        before = Image.MAX_IMAGE_PIXELS
        Image.MAX_IMAGE_PIXELS = None
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS = before


def _check_size(size: tuple[int, int], name: str, limits: PhotoLimits) -> None:
    width, height = size
    if width * height > limits.max_pixels:
        raise PhotoError(
            f"{name} has {width} x {height} pixels and at most {limits.max_pixels / 1e6:,.0f} million "
            "are read; save it smaller."
        )
    if min(width, height) < limits.min_side_px:
        raise PhotoError(
            f"{name} has only {width} x {height} pixels, too few to show an egg; use the original photo."
        )


def _check_whole(picture: Image.Image, data: bytes, name: str) -> None:
    """Damage that the decoders let pass, returning a picture that is partly black or wrong."""
    if picture.format == "PNG":
        whole = _png_is_whole(data)
    elif picture.format in ("WEBP", "HEIF"):
        # An interrupted copy often leaves the file's length right and its end zero.
        zeros = len(data) - len(data.rstrip(b"\0"))
        whole = zeros < 4096 and zeros < 0.1 * len(data)
    elif picture.format in ("JPEG", "MPO"):
        whole = _jpeg_has_end(data)
    else:  # Pillow itself refuses a TIFF whose data end early.
        whole = True
    if not whole:
        raise PhotoError(f"{name} is damaged or cut off; {_COPY_AGAIN}.")


def _png_is_whole(data: bytes) -> bool:
    """Every critical chunk up to IEND is there and has the right check sum (PNG, RFC 2083, 3.4)."""
    at = 8
    while at + 12 <= len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        kind, body_end = data[at + 4 : at + 8], at + 8 + length
        critical = not kind[:1].islower()
        check_sum = int.from_bytes(data[body_end : body_end + 4], "big")
        if critical and check_sum != zlib.crc32(data[at + 4 : body_end]):
            return False
        if kind == b"IEND":
            return True
        at = body_end + 4
    return False


def _jpeg_has_end(data: bytes) -> bool:
    """An end marker follows the start of the picture's own data (ITU-T T.81, B.1).

    Zeros in place of a missing rest decode without complaint. A thumbnail's end marker does not
    count: it lies inside an earlier segment.
    """
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xDA:  # start of scan; the coded data after it contain no FF D9
            return data.find(b"\xff\xd9", at) >= 0
        fill_byte = marker == 0xFF
        at += 1 if fill_byte else 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return data.rfind(b"\xff\xd9") >= 0


def _check_not_raw(picture: Image.Image, data: bytes, name: str) -> None:
    """Raw camera files are TIFF files whose first picture is a thumbnail."""
    if picture.format != "TIFF":
        return
    tags = picture.getexif()
    if _DNG_VERSION in tags or int(tags.get(_NEW_SUBFILE_TYPE, 0)) & 1 or data[8:10] == b"CR":
        raise PhotoError(f"{name} is a raw camera file; {_SAVE_AS_JPEG}.")


def _why_undecodable(data: bytes, name: str) -> str:
    """One sentence for a file that no decoder takes."""
    start = data[:512].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    kind = next((words for magic, words in _OTHER_KINDS if data.startswith(magic)), None)
    if data.startswith(b"RIFF") and data[8:12] in (b"AVI ", b"WAVE"):
        kind = "a sound or video file"
    elif data[4:8] == b"ftyp" and len(data) >= 12:
        brand = data[8:12]
        if brand in (b"avif", b"avis"):
            kind = "an AVIF picture"
        elif brand not in _HEIC_BRANDS:
            kind = "a video"
    elif start.startswith((b"<svg", b"<?xml")):
        kind = "an SVG drawing or another XML file"
    elif start.startswith((b"<!doctype", b"<html")):
        kind = "a web page"
    if kind is not None:
        return f"{name} is {kind}, and photos are read as {_KINDS_READ}; {_SAVE_AS_JPEG}."
    if _starts_like_a_photo(data):
        return f"{name} is damaged or cut off; {_COPY_AGAIN}."
    return f"{name} is not a picture, whatever its name says; name a {_KINDS_READ} file."


def _starts_like_a_photo(data: bytes) -> bool:
    return (
        data.startswith((b"\xff\xd8", b"\x89PNG", b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"))
        or (data.startswith(b"RIFF") and data[8:12] in (b"WEBP", b""))
        or data[4:8] == b"ftyp"
    )


def _notes(picture: Image.Image) -> tuple[int, datetime | None]:
    """Orientation and capture time from the EXIF notes; 1 and ``None`` where they don't say.

    Pillow turns TIFF itself and libheif HEIC; both then report orientation 1 or none.
    """
    orientation, taken_at = 1, None
    # Damaged notes beside the picture, whatever they make Pillow raise, are no reason to refuse it.
    with suppress(Exception):
        exif = picture.getexif()
        orientation = int(exif.get(_ORIENTATION, 1))
        taken_at = _taken_at(exif.get_ifd(_EXIF_IFD))
    return orientation, taken_at


def _taken_at(tags: Mapping[int, object]) -> datetime | None:
    for date_tag, offset_tag in _DATE_AND_OFFSET:
        try:
            taken = datetime.strptime(_text(tags.get(date_tag)), "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007
        except ValueError:  # absent, blank, zero or nonsense
            continue
        return taken.replace(tzinfo=_offset(_text(tags.get(offset_tag))))
    return None


def _text(value: object) -> str:
    if isinstance(value, bytes):
        value = value.decode("ascii", "replace")
    return value.strip("\0 ") if isinstance(value, str) else ""


def _offset(text: str) -> timezone | None:
    """``+02:00`` as a time zone."""
    if len(text) != 6 or text[0] not in "+-" or text[3] != ":" or not (text[1:3] + text[4:]).isdecimal():
        return None
    hours, minutes = int(text[1:3]), int(text[4:])
    if hours > 14 or minutes > 59:
        return None
    return timezone((1 if text[0] == "+" else -1) * timedelta(hours=hours, minutes=minutes))


def _srgb(picture: Image.Image, name: str) -> Image.Image:
    """An 8-bit RGB picture in sRGB from any mode Pillow decodes to."""
    profile = picture.info.get("icc_profile")
    if picture.mode in ("F", "I") or picture.mode.startswith("I;16"):
        picture = _grey_8_bit(picture, name)
    if picture.mode == "P":
        picture = picture.convert("RGBA" if "transparency" in picture.info else "RGB")
    elif picture.mode == "1":
        picture = picture.convert("L")
    if picture.mode in ("RGBA", "LA", "PA", "La", "RGBa"):
        shown = picture.convert("RGBA")
        picture = Image.alpha_composite(Image.new("RGBA", shown.size, (0, 0, 0, 255)), shown).convert("RGB")
    if picture.mode == "LAB":
        return _converted(picture, ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")))
    if profile:
        try:
            return _converted(picture, ImageCms.ImageCmsProfile(io.BytesIO(profile)))
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            pass  # a broken profile, or one for another colour space: the numbers are taken as sRGB
    return picture if picture.mode == "RGB" else picture.convert("RGB")


def _converted(picture: Image.Image, profile: ImageCms.ImageCmsProfile) -> Image.Image:
    converted = ImageCms.profileToProfile(
        picture,
        profile,
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB",
    )
    assert converted is not None  # None is returned only for in-place conversion
    return converted


def _grey_8_bit(picture: Image.Image, name: str) -> Image.Image:
    """Grey values of 16 bits (or fewer, by the TIFF tag) scaled to 8; Pillow would cut them off."""
    if picture.mode == "F" or (picture.mode == "I" and picture.format == "TIFF"):
        raise PhotoError(f"{name} holds measured numbers instead of a photo's 8 or 16 bits; {_SAVE_AS_JPEG}.")
    values = np.asarray(picture, dtype=np.float64)
    bits = picture.getexif().get(_BITS_PER_SAMPLE, 16) if picture.format == "TIFF" else 16
    bits = bits[0] if isinstance(bits, tuple) else bits
    top = 2 ** min(max(int(bits), 8), 16) - 1
    grey = np.minimum(np.round(values * (255 / top)), 255).astype(np.uint8)
    return Image.fromarray(grey)
