"""From linear light to a phone's picture: white balance, exposure, tone, blur, noise, JPEG."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFilter
from scipy.ndimage import gaussian_filter

from sample_images.truth import SimulatedPhoto

Float32Array = NDArray[np.float32]


@dataclass(frozen=True)
class Camera:
    """How the phone takes the picture.

    Attributes
    ----------
    balance
        Gains of red, green and blue.
    leak
        Share of red light that the blue and green filters let in: what turns eggs pink.
    saturation
        Above 1 colours are pushed apart, as phones do, to the edge of what sRGB holds.
    exposure
        Where the automatic exposure puts the eggs' bright parts, 1 = just clipped.
    darkest_gain
        Upper limit of its gain.
    contrast
        Of the S-shaped tone curve; 0 is plain sRGB.
    blur_px, motion_px, motion_deg
        Defocus, and movement during the exposure.
    noise
        Standard deviation near black, in grey levels of 255, before tone.
    sharpening
        Amount of unsharp masking.
    vignetting
        Light lost in the corners.
    haze
        Share of light that lens and grease scatter round bright parts.
    quality
        JPEG quality.
    """

    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    leak: float = 0.02
    saturation: float = 1.2
    exposure: float = 0.9
    darkest_gain: float = 60.0
    contrast: float = 0.15
    blur_px: float = 0.6
    motion_px: float = 0.0
    motion_deg: float = 0.0
    noise: float = 2.0
    sharpening: float = 0.4
    vignetting: float = 0.15
    haze: float = 0.03
    quality: int = 88


def tone_curve(contrast: float) -> NDArray[np.uint8]:
    """Table from linear light (0..4 in 4096 steps) to 8-bit sRGB with a soft shoulder."""
    light = np.linspace(0, 4, 4096)
    soft = light / (1 + light**4) ** 0.25
    srgb = np.where(soft <= 0.0031308, 12.92 * soft, 1.055 * soft ** (1 / 2.4) - 0.055)
    srgb = srgb / srgb[-1]
    curve = srgb + contrast * (srgb * srgb * (3 - 2 * srgb) - srgb)
    result: NDArray[np.uint8] = np.round(np.clip(curve, 0, 1) * 255).astype(np.uint8)
    return result


def balanced(light: Float32Array, camera: Camera) -> Float32Array:
    """White balance, filter leak and saturation as one 3 x 3 matrix."""
    leak = np.array([[1, 0, 0], [camera.leak * 0.6, 1, 0], [camera.leak, camera.leak * 0.3, 1]])
    grey = np.full((3, 3), 1.0) * np.array([0.3, 0.6, 0.1])
    push = grey + camera.saturation * (np.eye(3) - grey)
    matrix = push @ np.diag(camera.balance) @ leak
    result: Float32Array = np.maximum(light @ matrix.T.astype(np.float32), 0)
    return result


def expose(
    rng: np.random.Generator, light: Float32Array, camera: Camera, *, subject: Float32Array
) -> NDArray[np.uint8]:
    """The finished picture, before JPEG.

    Parameters
    ----------
    rng
        Source of the noise.
    light
        Linear light, H x W x 3; used up.
    camera
        Settings.
    subject
        A sample of linear light (K, 3) on what the exposure is set for.
    """
    height, width = light.shape[:2]
    if len(subject):
        # Between the bulk and the brightest: a small white-hot band pulls the exposure down some way.
        bulk, peak = np.quantile(balanced(subject, camera).max(-1), (0.7, 0.97))
        metered = bulk**0.65 * peak**0.35
    else:
        metered = 1.0
    gain = min(camera.exposure / max(float(metered), 1e-6), camera.darkest_gain)
    light = balanced(light, camera)
    light *= np.float32(gain)
    if camera.haze > 0:
        light += _haze(np.minimum(light, 3), camera.haze)
    if camera.vignetting > 0:
        y = (np.arange(height, dtype=np.float32) / height * 2 - 1) ** 2
        x = (np.arange(width, dtype=np.float32) / width * 2 - 1) ** 2
        light *= (1 - np.float32(camera.vignetting / 2) * (y[:, None] + x))[..., None]
    if camera.motion_px >= 1.5:
        light = _shaken(light, camera.motion_px, camera.motion_deg)
    if camera.blur_px > 0.25:
        np.minimum(light, 4, out=light)
        for channel in range(3):
            light[..., channel] = gaussian_filter(light[..., channel], camera.blur_px, truncate=2.5)
    noise = rng.standard_normal((height, width), dtype=np.float32)
    colour = rng.standard_normal(((height + 1) // 2, (width + 1) // 2, 3), dtype=np.float32)
    floor = np.float32((camera.noise / 255 / 6) ** 2)
    shot = np.float32((camera.noise / 255) ** 2 * 0.6)
    for channel in range(3):
        plane = light[..., channel]
        coarse = colour[..., channel].repeat(2, 0)[:height].repeat(2, 1)[:, :width]
        plane += np.sqrt(floor + shot * plane) * (np.float32(0.7) * noise + np.float32(0.6) * coarse)
    index = np.clip(light * np.float32(4095 / 4), 0, 4095).astype(np.uint16)
    picture = tone_curve(camera.contrast)[index]
    if camera.sharpening > 0:
        sharp = ImageFilter.UnsharpMask(radius=1.0, percent=round(100 * camera.sharpening), threshold=0)
        picture = np.asarray(Image.fromarray(picture).filter(sharp))
    result: NDArray[np.uint8] = picture
    return result


def _haze(light: Float32Array, share: float) -> Float32Array:
    height, width = light.shape[:2]
    step = max(4, max(height, width) // 200 * 2)
    # Every other pixel is enough for a veil.
    half = step // 2
    small = light[::2, ::2][: height // step * half, : width // step * half]
    small = small.reshape(height // step, half, width // step, half, 3).sum((1, 3)) * np.float32(1 / half**2)
    result = np.empty_like(light)
    for channel in range(3):
        near = gaussian_filter(small[..., channel], 1.5)
        far = gaussian_filter(small[..., channel], max(small.shape[:2]) / 9)
        veil = Image.fromarray((share * (0.55 * near + 0.9 * far)).astype(np.float32))
        result[..., channel] = np.asarray(veil.resize((width, height), Image.Resampling.BILINEAR))
    return result


def _shaken(light: Float32Array, length: float, angle_deg: float) -> Float32Array:
    total = np.zeros_like(light)
    steps = max(3, int(length))
    for t in np.linspace(-0.5, 0.5, steps):
        dx = round(t * length * np.cos(np.radians(angle_deg)))
        dy = round(t * length * np.sin(np.radians(angle_deg)))
        total += np.roll(light, (dy, dx), axis=(0, 1))
    total /= steps
    return total


def encode_jpeg(photo: SimulatedPhoto | NDArray[np.uint8], quality: int = 90) -> bytes:
    """A JPEG file of a simulated photo (or of an H x W x 3 uint8 array).

    Parameters
    ----------
    photo
        A ``SimulatedPhoto`` or an array.
    quality
        1 to 95.
    """
    rgb = photo if isinstance(photo, np.ndarray) else photo.rgb
    buffer = io.BytesIO()
    Image.fromarray(rgb).save(buffer, "JPEG", quality=quality, subsampling=2)
    return buffer.getvalue()
