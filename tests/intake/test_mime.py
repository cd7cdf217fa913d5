import base64
import io
from datetime import UTC, datetime
from email.message import EmailMessage

import pytest
from PIL import Image

from inbox.intake.incoming import Incoming
from inbox.intake.mime import MailOptions, read_mail

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
OPTIONS = MailOptions(NOW, frozenset(("hello@kitchen.example",)))
HEAD = (
    b"From: Ada <ada@example.org>\nDate: Mon, 2 Nov 2026 10:00:00 +0000\nMessage-ID: <a@x>\nSubject: Loaf\n"
)


def read(raw: bytes) -> Incoming:
    item = read_mail(raw, OPTIONS)
    assert isinstance(item, Incoming)
    return item


PASSED = datetime(2026, 11, 2, 10, 0, 5, tzinfo=UTC)


def jpeg(width: int, height: int) -> bytes:
    written = io.BytesIO()
    image = Image.effect_noise((width, height), 60).convert("RGB")
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "Camera of Ada"
    image.save(written, "JPEG", exif=exif)
    return written.getvalue()


@pytest.mark.parametrize(
    ("charset", "content", "text"),
    [
        ("utf-8", "Crème brûlée".encode(), "Crème brûlée"),
        ("iso-8859-1", "Crème brûlée".encode("latin-1"), "Crème brûlée"),
        ("iso-8859-1", "“Crème” – lovely €".encode("cp1252"), "“Crème” – lovely €"),
        ("us-ascii", "Crème brûlée".encode(), "Crème brûlée"),
        ("us-ascii", "Crème".encode("latin-1"), "Crème"),
        ("x-unknown", "Crème".encode("latin-1"), "Crème"),
        ("", "Crème brûlée".encode(), "Crème brûlée"),
        ("utf-8", "Crème brûlée".encode("latin-1"), "Crème brûlée"),
        ("utf-8", "Crème brûlé".encode()[:-1], "Crème brûl\ufffd"),
        ("windows-1251", "Вкусно".encode("cp1251"), "Вкусно"),
        ("gb2312", "好吃".encode("gb18030"), "好吃"),
        ("ks_c_5601-1987", "맛있어요".encode("cp949"), "맛있어요"),
        ("iso-2022-jp", "おいしい".encode("iso-2022-jp"), "おいしい"),
        ("utf-16", "Crème".encode("utf-16"), "Crème"),
        ("hex", b"Plain words", "Plain words"),
    ],
)
def test_charsets(charset: str, content: bytes, text: str) -> None:
    declared = f"Content-Type: text/plain; charset={charset}\n".encode() if charset else b""
    encoded = base64.b64encode(content)
    head = HEAD + declared + b"Content-Transfer-Encoding: base64\n\n"
    assert read(head + encoded + b"\n").text == text


@pytest.mark.parametrize(
    "encoded",
    [
        b"SXQgc2FuayBpbiB0aGUgbWlkZGxlLg==",
        b"SXQgc2FuayBpbiB0aGUgbWlkZGxlLg",
        b"SXQgc2Fu\nayBpbiB0aGUg\r\nbWlkZGxlLg==\n",
        b"SXQg!c2Fu*ayBpbiB0aGUgbWlkZGxlLg==",
        b"SXQgc2FuayBpbiB0aGUgbWlkZGxlLg==\n_____\nA list's footer that is not encoded at all.\n",
        b"SXQgc2FuayA=\naW4gdGhlIG1pZGRsZS4=\n",
    ],
)
def test_base64_with_junk_or_cut_short(encoded: bytes) -> None:
    raw = HEAD + b"Content-Transfer-Encoding: base64\n\n" + encoded
    assert read(raw).text == "It sank in the middle."


def test_base64_cut_in_the_middle_keeps_what_came() -> None:
    encoded = base64.b64encode(b"It sank in the middle of the tin.")[:23]
    assert read(HEAD + b"Content-Transfer-Encoding: base64\n\n" + encoded).text == "It sank in the mi"


def test_quoted_printable_with_mistakes() -> None:
    raw = HEAD + b"Content-Transfer-Encoding: quoted-printable\n\n100 % cr=C3=A8me =ZZ and =\nmore=\n"
    assert read(raw).text == "100 % crème =ZZ and more"


@pytest.mark.parametrize("ends", [b"\n", b"\r\n", b"\r"])
def test_line_ends(ends: bytes) -> None:
    raw = (HEAD + b"\nIt sank.\nTwice.\n").replace(b"\n", ends)
    item = read(raw)
    assert (item.text, item.subject) == ("It sank.\nTwice.", "Loaf")


def test_nul_bytes_and_8_bit_headers() -> None:
    raw = "From: Zoë <zoe@example.org>\nSubject: Crème brûlée\n\nIt \x00sank.".encode()
    item = read(raw)
    assert (item.name, item.subject, item.text) == ("Zoë", "Crème brûlée", "It sank.")
    assert b"\x00" in item.raw


@pytest.mark.parametrize(
    "sender", ["(" * 30_000, "<a@" * 30_000, "x" * 300_000, '"' * 30_001 + "a@b.example"]
)
def test_sender_that_would_exhaust_the_parser(sender: str) -> None:
    item = read_mail(f"From: {sender}\nSubject: Loaf\n\nIt sank.\n".encode(), MailOptions(NOW))

    assert isinstance(item, Incoming)
    assert item.text == "It sank."


def test_overlong_header() -> None:
    item = read(b"From: ada@example.org\nX-Long: " + b"x" * 2_000_000 + b"\nSubject: Loaf\n\nIt sank.\n")
    assert (item.subject, item.text) == ("Loaf", "It sank.")


def test_html_alone_is_read_as_the_reader_saw_it() -> None:
    markup = """<html><head><style>p {color: red}</style><title>x</title></head><body>
<div style="display:none;max-height:0">Preheader &zwnj; that nobody sees</div>
<span style="font-size:0px">1x1</span>
<p>The loaf&nbsp;sank &amp; cracked.<br>Twice.</p><ul><li>more salt</li><li>less sugar</li></ul>
<script>alert("no")</script><img src="https://track.example/pixel.gif">
<p>See <a href="https://kitchen.example/loaf">your page</a>.</p>
<blockquote type="cite">What you wrote</blockquote></body></html>"""
    raw = HEAD + b"Content-Type: text/html; charset=utf-8\n\n" + markup.encode()
    item = read(raw)
    assert item.text == "The loaf sank & cracked.\nTwice.\n\n- more salt\n- less sugar\n\nSee your page."
    assert item.links == ("https://kitchen.example/loaf",)


@pytest.mark.parametrize(
    ("plain", "expected"),
    [
        ("It sank.", "It sank."),
        ("", "It sank, in HTML."),
        ("Your program cannot show HTML.", "It sank, in HTML."),
    ],
)
def test_plain_alternative_unless_it_is_a_stub(plain: str, expected: str) -> None:
    mail = EmailMessage()
    mail["From"] = "ada@example.org"
    mail.set_content(plain)
    mail.add_alternative("<p>It sank, in HTML.</p>", subtype="html")
    assert read(mail.as_bytes()).text == expected


def test_parts_nested_a_thousand_deep_end_somewhere() -> None:
    depth = 1000
    opened = "".join(
        f'Content-Type: multipart/mixed; boundary="b{level}"\n\n--b{level}\n' for level in range(depth)
    )
    item = read(b"From: ada@example.org\nSubject: Loaf\n" + opened.encode() + b"\n\nIt sank.\n")
    assert item.subject == "Loaf"
    assert item.attachments == ("(parts nested too deeply)",)


@pytest.mark.parametrize("around", ["", 'Content-Type: multipart/mixed; boundary="a"\n\n--a\n'])
def test_thousand_parts_are_read_and_the_rest_is_said_to_be_there(around: str) -> None:
    parts = "".join(f"--b\n\nPart {number}.\n" for number in range(1, 1201))
    head = f'From: ada@example.org\n{around}Content-Type: multipart/mixed; boundary="b"\n\n'
    item = read(f"{head}{parts}--b--\n".encode())
    last = 999 if around else 1000
    assert item.text.endswith(f"Part {last}.")
    assert item.attachments == ("(more than 1,000 parts)",)


def test_parts_nested_twenty_deep_are_read() -> None:
    text = "\n\nIt sank.\n"
    for level in range(20):
        text = f'Content-Type: multipart/mixed; boundary="b{level}"\n\n--b{level}\n{text}\n--b{level}--\n'
    assert read(b"From: ada@example.org\n" + text.encode()).text == "It sank."


def test_damaged_part_costs_that_part() -> None:
    raw = (
        HEAD + b'Content-Type: multipart/mixed; boundary="b"\n\n'
        b"--b\n\nIt sank.\n"
        b"--b\nContent-Type: image/jpeg\nContent-Transfer-Encoding: base64\n"
        b'Content-Disposition: attachment; filename="loaf.jpg"\n\nnot a picture\n'
        b"--b\nContent-Type: text/plain; charset=utf-8\n\nAnd cracked."
    )
    item = read(raw)
    assert item.text == "It sank.\n\nAnd cracked."
    assert (item.photos, item.attachments) == ((), ("loaf.jpg",))


def test_photos_are_kept_upright_and_without_metadata() -> None:
    mail = EmailMessage()
    mail["From"] = "ada@example.org"
    mail.set_content("Look!")
    mail.add_attachment(jpeg(2000, 1000), maintype="image", subtype="jpeg", filename="IMG_1.JPG")
    mail.add_attachment(jpeg(1, 1), maintype="image", subtype="jpeg", filename="pixel.jpg")
    mail.add_attachment(jpeg(120, 40), maintype="image", subtype="jpeg", filename="logo.jpg")
    mail.add_attachment(b"%PDF", maintype="application", subtype="pdf", filename="../../recipe €.pdf")
    item = read(mail.as_bytes())
    (photo,) = item.photos
    assert (photo.width, photo.height) == (800, 1600)
    for content, longest in ((photo.jpeg, 1600), (photo.thumbnail, 320)):
        with Image.open(io.BytesIO(content)) as image:
            assert max(image.size) == longest
            assert not image.getexif()
            assert b"Camera" not in content
    assert item.attachments == ("pixel.jpg", "logo.jpg", "recipe €.pdf")


def test_picture_bomb_is_not_opened() -> None:
    written = io.BytesIO()
    Image.new("1", (8_000, 8_000)).save(written, "PNG")
    mail = EmailMessage()
    mail["From"] = "ada@example.org"
    mail.set_content("Look!")
    mail.add_attachment(written.getvalue(), maintype="image", subtype="png", filename="bomb.png")
    assert read(mail.as_bytes()).photos == ()


@pytest.mark.parametrize(
    ("date", "traces", "expected"),
    [
        ("Mon, 2 Nov 2026 10:00:00 +0100", "", datetime(2026, 11, 2, 9, tzinfo=UTC)),
        ("2026-11-02T10:00:00Z", "", datetime(2026, 11, 2, 10, tzinfo=UTC)),
        ("Mon, 2 Nov 2036 10:00:00 +0000", "by mx; 2 Nov 2026 10:00:05 +0000", PASSED),
        ("Thu, 1 Jan 1970 00:00:00 +0000", "", None),
        ("yesterday", "by mx; Mon, 2 Nov 2026 10:00:05 +0000", PASSED),
        ("Mon, 32 Nov 2026 99:00:00 +0000", "", None),
        ("Mon, 2 Nov 2026 10:00:00 +9999", "", None),
    ],
)  # fmt: skip
def test_dates_that_cannot_be(date: str, traces: str, expected: datetime | None) -> None:
    received = f"Received: from x {traces}\n" if traces else ""
    raw = f"From: ada@example.org\nDate: {date}\n{received}\nIt sank.\n".encode()
    assert read(raw).received_at == expected


def test_mail_without_an_id_has_the_same_key_from_any_mailbox() -> None:
    raw = b"From: ada@example.org\nDate: Mon, 2 Nov 2026 10:00:00 +0000\nSubject: Loaf\n\nIt sank.\n"
    other = b"X-Mozilla-Status: 0001\nStatus: RO\n" + raw.replace(b"\n", b"\r\n") + b"\r\n"
    assert read(raw).key == read(other).key
    assert read(raw).key != read(raw.replace(b"sank", b"rose")).key


@pytest.mark.parametrize(
    ("fields", "name", "email"),
    [
        ("From: ada@example.org", None, "ada@example.org"),
        ('From: "Bell, Ada" <ada@example.org>', "Bell, Ada", "ada@example.org"),
        ("From: =?utf-8?q?Zo=C3=AB?= <zoe@example.org>", "Zoë", "zoe@example.org"),
        ("From: Ada <ada@example.org>, Bo <bo@example.org>", "Ada", "ada@example.org"),
        ("From: Readers:Ada <ada@example.org>,bo@example.org;", "Ada", "ada@example.org"),
        ("From: Ada <ada@example.org>\nReply-To: other@example.org", "Ada", "ada@example.org"),
        ("From: wordpress@site.example\nReply-To: Ada <ada@example.org>", "Ada", "ada@example.org"),
        ("From: hello@kitchen.example\nReply-To: ada@example.org", None, "ada@example.org"),
        ("Sender: ada@example.org", None, "ada@example.org"),
        ("From: Ada at example", None, None),
    ],
)
def test_who_wrote(fields: str, name: str | None, email: str | None) -> None:
    item = read(f"{fields}\nSubject: Loaf\n\nIt sank.\n".encode())
    assert (item.name, item.email) == (name, email)
    assert item.kept_apart is None


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ("From: hello@kitchen.example\nSubject: Re: loaf", "own_mail"),
        ("From: a@x.org\nSubject: Out of office: loaf", "auto_reply"),
        ("From: a@x.org\nSubject: Automatische Antwort: loaf", "auto_reply"),
        ("From: a@x.org\nX-Autoreply: yes", "auto_reply"),
        ("From: a@x.org\nPrecedence: bulk", "newsletter"),
        ("From: a@x.org\nPrecedence: list\nList-Id: <l.x>", "list_mail"),
        ("From: a@x.org\nContent-Type: text/calendar; method=REQUEST", "calendar"),
        ("From: MAILER-DAEMON@x.org\nSubject: Undelivered Mail Returned to Sender", "bounce"),
        ("From: a@x.org\nX-Failed-Recipients: ada@example.org", "bounce"),
        ("From: a@x.org\nSubject: Returned mail was tasty\nReturn-Path: <a@x.org>", None),
        ("From: a@x.org\nSubject: Newsletter", None),
    ],
)
def test_mail_that_no_reader_wrote(fields: str, why: str | None) -> None:
    assert read(f"{fields}\n\nSome words.\n".encode()).kept_apart == why


NOTICE = """From: {sender}
To: hello@kitchen.example
Subject: New message from your site
Auto-Submitted: auto-generated

You have a new message.

Name: Ada Bell
Email: ada@example.org
Page: https://kitchen.example/lemon-loaf
Rating: 2/5
Message:
It sank in the middle.

Note: my oven is new. What did I do?
--
This e-mail was sent from the contact form on kitchen.example
"""


@pytest.mark.parametrize("sender", ["wordpress@kitchen.example", "Kitchen <hello@kitchen.example>"])
def test_notice_of_a_form_is_what_the_reader_wrote(sender: str) -> None:
    item = read(NOTICE.format(sender=sender).encode())
    assert item.text == "It sank in the middle.\n\nNote: my oven is new. What did I do?"
    assert (item.name, item.email, item.channel) == ("Ada Bell", "ada@example.org", "form")
    assert (item.page_slug, item.stars) == ("https://kitchen.example/lemon-loaf", 2.0)
    assert item.kept_apart is None


def test_notice_without_an_address_is_not_the_machines() -> None:
    raw = NOTICE.format(sender="wordpress@kitchen.example").replace("Email: ada@example.org\n", "")
    item = read(raw.encode())
    assert (item.name, item.email) == ("Ada Bell", None)


def test_labels_in_a_readers_own_mail_stay() -> None:
    text = "Name: Ada\nMessage: hello"
    item = read(f"From: ada@example.org\nSubject: Loaf\n\n{text}\n".encode())
    assert (item.text, item.channel) == (text, "email")


def test_plain_bounce_names_the_mail_that_came_back() -> None:
    raw = (
        b"From: MAILER-DAEMON@x.org\nSubject: failure notice\nReturn-Path: <>\n\n"
        b"<ada@example.org>:\n550 5.1.1 no such user\n\n--- Below is a copy\n\n"
        b"Message-ID: <r.7@kitchen.example>\n"
    )
    (report,) = read(raw).came_back
    assert (report.rfc_message_id, report.address) == ("r.7@kitchen.example", "ada@example.org")
    assert report.permanent


def test_text_without_header_fields_is_no_mail() -> None:
    item = read_mail(b"just words, no mail at all", OPTIONS, place="mail 3")
    assert not isinstance(item, Incoming)
    assert "no header fields" in item.reason
