"""From the bytes of a picture to its pixels alone. It runs in a child process only, and imports nothing of ours."""

import io
import json
import warnings
from typing import Any

from PIL import Image, ImageCms, UnidentifiedImageError

KINDS = ("JPEG", "PNG", "WEBP")
# A JPEG with further pictures behind the first, as telephones write them. Only the first is read.
WITH_MORE_BEHIND = "MPO"
LONGEST_SIDE, THUMBNAIL_SIDE = 3000, 480  # [px]
QUALITY, THUMBNAIL_QUALITY = 85, 80
PAPER = (255, 255, 255)
ORIENTATION = 0x0112
# How to turn each orientation upright. Source: CIPA DC-008 (Exif 2.32), 4.6.4.A, tag Orientation.
TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


class Refused(Exception):
    """Its text is ``kind``, ``damaged``, ``pixels`` or ``moving``."""


def remake(content: bytes, *, largest_pixels: int) -> tuple[Image.Image, Image.Image]:
    """The picture upright, in RGB, without whatever else its file held; and a small one of it."""
    picture = _opened(content, largest_pixels)
    orientation, profile = _orientation(picture), picture.info.get("icc_profile")
    picture = _plain(picture)
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE), reducing_gap=2.0)  # lets a JPEG be decoded small
    picture = _in_srgb(_flat(picture), profile)
    if orientation in TURNS:
        picture = picture.transpose(TURNS[orientation])
    small = picture.copy()
    small.thumbnail((THUMBNAIL_SIDE, THUMBNAIL_SIDE))
    return picture, small


def _opened(content: bytes, largest_pixels: int) -> Image.Image:
    warnings.simplefilter("ignore")
    Image.MAX_IMAGE_PIXELS = largest_pixels
    try:
        picture = Image.open(io.BytesIO(content), formats=KINDS)
    except Image.DecompressionBombError as error:
        raise Refused("pixels") from error
    except UnidentifiedImageError as error:
        raise Refused("damaged") from error
    if picture.format not in {*KINDS, WITH_MORE_BEHIND}:
        raise Refused("kind")
    if picture.width * picture.height > largest_pixels:
        raise Refused("pixels")
    if picture.format != WITH_MORE_BEHIND and getattr(picture, "n_frames", 1) > 1:
        raise Refused("moving")
    return picture


def _orientation(picture: Image.Image) -> object:
    try:
        return picture.getexif().get(ORIENTATION)
    except Exception:  # its notes may be nonsense; the picture need not be
        return None


def _plain(picture: Image.Image) -> Image.Image:
    """In a mode that can be made smaller without harm: no palette, no transparent colour, eight bits."""
    if "transparency" in picture.info:
        return picture.convert("RGBA")
    if picture.mode.startswith("I"):  # sixteen bits; converted plainly, all but the darkest would turn white
        return picture.point(lambda value: value * (1 / 256)).convert("L")
    if picture.mode in {"P", "PA"}:
        return picture.convert("RGBA")
    return picture.convert("L") if picture.mode == "1" else picture


def _flat(picture: Image.Image) -> Image.Image:
    """On white paper, and in a new image: the old one carries notes along that some writers would write."""
    flat = Image.new("RGB", picture.size, PAPER)
    if picture.mode in {"LA", "RGBA", "La", "RGBa"}:
        flat.paste(picture.convert("RGB"), mask=picture.convert("RGBA").getchannel("A"))
    else:
        flat.paste(picture.convert("RGB"))
    return flat


def _in_srgb(picture: Image.Image, profile: Any) -> Image.Image:
    """Colours of a wide profile as they looked; without this, losing the profile would dull the enamel."""
    if not profile:
        return picture
    try:
        given = ImageCms.getOpenProfile(io.BytesIO(profile))
        made = ImageCms.profileToProfile(picture, given, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (ImageCms.PyCMSError, OSError, TypeError, ValueError):  # also a profile for grey or for printing inks
        return picture
    return _flat(made) if made else picture


def jpeg(picture: Image.Image, quality: int) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()


def work(content: bytes, *, largest_pixels: int) -> bytes:
    picture, small = remake(content, largest_pixels=largest_pixels)
    whole, thumbnail = jpeg(picture, QUALITY), jpeg(small, THUMBNAIL_QUALITY)
    told = {"width": picture.width, "height": picture.height, "photograph": len(whole), "thumbnail": len(thumbnail)}
    return json.dumps(told).encode() + b"\n" + whole + thumbnail
