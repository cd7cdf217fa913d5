"""Readers' pictures: re-encoded, upright, small enough, and without place, time or camera in them."""

import io

from PIL import Image, ImageOps

from inbox.intake.heic import is_heic, to_jpeg
from inbox.intake.incoming import Picture

LONGEST_SIDE = 1600
"""Pixels of the longer side of a kept picture."""
THUMBNAIL_SIDE = 320
PIXEL_LIMIT = 60_000_000
"""Pixels of the largest picture that is opened; a phone's have 12 to 50 million."""
SHORTEST_SIDE = 160
"""Pixels of the shorter side below which a picture is a logo, a button or a tracking pixel; chosen."""
WIDEST_RATIO = 5
"""Longer over shorter side from which a picture is taken for a banner; chosen."""
PHOTOS_PER_MESSAGE = 6
_FORMATS = ("JPEG", "PNG", "WEBP", "GIF", "TIFF", "BMP")
"""As Pillow names them; a JPEG with several pictures in it (MPO) is opened as JPEG."""


def to_picture(content: bytes, *, limit_bytes: int) -> Picture | None:
    """Keep a picture, or say that it is none.

    Parameters
    ----------
    content : bytes
        File as it was sent.
    limit_bytes : int
        Largest file that is opened.

    Returns
    -------
    Picture or None
        None for what is no picture, is damaged, too large, or as small or narrow as a logo or tracking pixel.
    """
    if len(content) > limit_bytes:
        return None
    if is_heic(content):
        content = to_jpeg(content, pixel_limit=PIXEL_LIMIT, longest_side=LONGEST_SIDE) or b""
    try:
        with Image.open(io.BytesIO(content), formats=_FORMATS) as opened:
            width, height = opened.size
            if width * height > PIXEL_LIMIT or min(width, height) < SHORTEST_SIDE:
                return None
            if max(width, height) > WIDEST_RATIO * min(width, height):
                return None
            # JPEG decodes at a fraction of its size where that is enough; others pass this over.
            opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
            upright = ImageOps.exif_transpose(opened)
            return _picture(upright)
    except (
        OSError,
        ValueError,
        SyntaxError,
        TypeError,
        IndexError,
        KeyError,
        EOFError,
        MemoryError,
        ZeroDivisionError,
        OverflowError,
        Image.DecompressionBombError,
        Image.DecompressionBombWarning,
    ):
        # What the decoders of the formats raise on damaged files.
        return None


def _picture(image: Image.Image) -> Picture:
    flat = _on_white(image)
    flat.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Image.Resampling.LANCZOS)
    small = flat.copy()
    small.thumbnail((THUMBNAIL_SIDE, THUMBNAIL_SIDE), Image.Resampling.LANCZOS)
    return Picture(flat.width, flat.height, _jpeg(flat, 85), _jpeg(small, 80))


def _on_white(image: Image.Image) -> Image.Image:
    """A fresh RGB image of the pixels alone, so that no metadata travels along."""
    fresh = Image.new("RGB", image.size, "white")
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        solid = image.convert("RGBA")
        fresh.paste(solid, mask=solid.getchannel("A"))
    else:
        fresh.paste(image.convert("RGB"))
    return fresh


def _jpeg(image: Image.Image, quality: int) -> bytes:
    written = io.BytesIO()
    image.save(written, "JPEG", quality=quality, optimize=True)
    return written.getvalue()
