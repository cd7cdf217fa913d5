"""HEIC, as phones send it: kept like other pictures, upright, without metadata, within the same limits."""

import io
import random
from email.message import EmailMessage

import pillow_heif
import pytest
from PIL import Image

from inbox.intake import heic as heic_decoder
from inbox.intake import photos
from inbox.intake.mime import MailOptions, read_mail
from inbox.intake.photos import LONGEST_SIDE, to_picture
from tests.makers import THEN

RED, BLUE = (200, 30, 30), (30, 30, 200)
LIMIT_BYTES = 12_000_000


def heic(width: int, height: int, *, orientation: int | None = None, quality: int = 60) -> bytes:
    """A picture with a red left half and a blue right one, and a place in its EXIF."""
    image = Image.new("RGB", (width, height), BLUE)
    image.paste(RED, (0, 0, width // 2, height))
    exif = Image.Exif()
    exif[0x010F] = "a telltale camera"
    if orientation:
        exif[0x0112] = orientation
    exif.get_ifd(0x8825)[1] = "N"
    written = io.BytesIO()
    pillow_heif.from_pillow(image).save(written, quality=quality, exif=exif.tobytes())
    return written.getvalue()


def test_picture_is_kept_small_and_without_metadata() -> None:
    content = heic(3200, 1600)
    assert b"a telltale camera" in content
    picture = to_picture(content, limit_bytes=LIMIT_BYTES)
    assert picture is not None
    assert (picture.width, picture.height) == (LONGEST_SIDE, LONGEST_SIDE // 2)
    kept = Image.open(io.BytesIO(picture.jpeg))
    assert (kept.format, dict(kept.getexif())) == ("JPEG", {})
    assert b"telltale" not in picture.jpeg + picture.thumbnail


def test_picture_is_turned_once() -> None:
    """Orientation 6: the camera was held upright, and the left half belongs on top (EXIF 2.3, 4.6.4)."""
    picture = to_picture(heic(800, 400, orientation=6), limit_bytes=LIMIT_BYTES)
    assert picture is not None
    assert (picture.width, picture.height) == (400, 800)
    kept = Image.open(io.BytesIO(picture.jpeg)).convert("RGB")
    top, bottom = kept.getpixel((200, 100)), kept.getpixel((200, 700))
    assert top[0] > 150 > top[2]
    assert bottom[2] > 150 > bottom[0]


def test_same_limits_hold() -> None:
    assert to_picture(heic(100, 400), limit_bytes=LIMIT_BYTES) is None, "a logo"
    assert to_picture(heic(1600, 200), limit_bytes=LIMIT_BYTES) is None, "a banner"
    content = heic(400, 400)
    assert to_picture(content, limit_bytes=len(content) - 1) is None


def test_bomb_is_not_decoded(monkeypatch: pytest.MonkeyPatch) -> None:
    """A picture of more pixels than the limit is told by its head."""
    content = heic(1200, 1000, quality=10)
    assert to_picture(content, limit_bytes=LIMIT_BYTES) is not None
    monkeypatch.setattr(photos, "PIXEL_LIMIT", 1200 * 1000 - 1)
    assert to_picture(content, limit_bytes=LIMIT_BYTES) is None


@pytest.mark.slow
def test_damaged_picture_costs_itself_alone() -> None:
    """The decoder dies of some of these (a segmentation fault); this process does not."""
    content, rng = heic(400, 300), random.Random(5)
    kept = 0
    for _ in range(40):
        broken = bytearray(content)
        for _ in range(rng.randint(1, 6)):
            broken[rng.randrange(len(broken))] = rng.randrange(256)
        kept += to_picture(bytes(broken), limit_bytes=LIMIT_BYTES) is not None
        assert to_picture(bytes(broken[: len(broken) // 2]), limit_bytes=LIMIT_BYTES) is None
    assert 0 < kept < 40


def test_decoder_that_takes_too_long_costs_that_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(heic_decoder, "SECONDS", 0.001)
    assert to_picture(heic(400, 300), limit_bytes=LIMIT_BYTES) is None


@pytest.mark.parametrize("kind", ["image/heic", "image/heif", "application/octet-stream"])
def test_mail_from_a_phone(kind: str) -> None:
    mail = EmailMessage()
    mail["From"] = "ada@example.org"
    mail.set_content("It rose!")
    main, _, rest = kind.partition("/")
    mail.add_attachment(heic(800, 600), maintype=main, subtype=rest, filename="IMG_0042.HEIC")
    item = read_mail(mail.as_bytes(), MailOptions(THEN))
    assert (len(item.photos), item.attachments) == (1, ())
