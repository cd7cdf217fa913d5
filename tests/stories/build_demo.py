"""Make the demo site's door files from the truth of its messages and the table of who sent them when.

`python -m tests.stories.build_demo` writes `letters.mbox`, `comments.csv`, `comments_november.csv`,
`forms.jsonl` and `social.jsonl` in `seed_data/demo/` from `labels.jsonl`, `sent.csv` and `recipes.json`. The
same input gives the same bytes. Everything and everybody in it is invented.
"""

import csv
import io
import json
from datetime import UTC, datetime, timedelta
from email import message_from_string
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from html import escape
from pathlib import Path
from typing import Any

from inbox.places import seed_folder

FOLDER = seed_folder() / "demo"
OWNER = Address("Maren", "maren", "harbourstreet.example")
POLICY = SMTP.clone(linesep="\n")
NOVEMBER = "2026-11-01"

SIGNATURES = {
    3: "-- \nSent from my phone, please forgive the spelling",
    5: "-- \nThe Old Bakehouse, 4 Lower Quay\nTelephone 01632 960118",
}
"""What every so many-th mail carries under its text."""

AUTOMATIC = {"dinner-054", "dinner-357", "story-095"}
BOUNCE = "dinner-120"
DELIVERY_STATUS = (
    "Reporting-MTA: dns; mx2.mailhost.example\n\n",
    "Final-Recipient: rfc822; suppers-list@mailhost.example\nAction: failed\nStatus: 5.2.2\n\n",
)
NEWSLETTER = "story-094"
ANSWERED = {
    "dinner-187": "Hello Soph,\n\nUse half the red miso and taste before adding more.\n\nMaren",
    "dinner-095": "Dear Beatrix,\n\nMy cups hold 250 ml. A scale is safer for the cornbread.\n\nMaren",
}
"""Mails that Maren answered by hand; her answers stand in the mailbox too."""

BROKEN_ROW = ["9001", "2026-10-30 12:14", "Nobody", "", "", "", "", ""]
"""A row of the table of comments without a comment."""
BROKEN_LINE = (
    '{"id": "form-9002", "channel": "form", "received_at": "2026-11-02T09:30:00+00:00", "text": "Cut off'
)
"""A line that the form's server did not finish."""


def load() -> list[dict[str, Any]]:
    """Every message with its label and who sent it when, in order of time."""
    with (FOLDER / "labels.jsonl").open(encoding="utf-8") as lines:
        labels = {label["id"]: label for label in map(json.loads, lines)}
    with (FOLDER / "sent.csv").open(encoding="utf-8", newline="") as table:
        return [{**labels[row["id"]], **row} for row in csv.DictReader(table)]


def addresses() -> dict[str, str]:
    """Address of each recipe's page."""
    recipes = json.loads((FOLDER / "recipes.json").read_text("utf-8"))
    return {recipe["slug"]: recipe["url"] for recipe in recipes}


def forms(messages: list[dict[str, Any]]) -> str:
    """The site's own forms, in the project's JSONL, with one broken line in the middle."""
    lines = [_line(message, "form") for message in messages if message["channel"] == "form"]
    lines.insert(len(lines) // 2, BROKEN_LINE)
    return "\n".join(lines) + "\n"


def social(messages: list[dict[str, Any]]) -> str:
    """Posts that name the site, in the project's JSONL."""
    return "\n".join(_line(m, "social") for m in messages if m["channel"] == "social") + "\n"


def _line(message: dict[str, Any], channel: str) -> str:
    fields = {
        "id": f"{channel}-{message['id']}",
        "channel": channel,
        "received_at": message["sent_at"],
        "name": message["name"],
        "email": message["email"],
        "handle": message["handle"],
        "recipe": message["page"],
        "text": message["text"],
        "stars": int(message["stars"] or 0),
        "reply_wanted": message["reply_wanted"] == "yes",
        "tell_me": message["tell_me"] == "yes",
        "may_quote": message["may_quote"] == "yes",
    }
    return json.dumps({name: value for name, value in fields.items() if value}, ensure_ascii=False)


HEADS = (
    "Number",
    "Date",
    "Name",
    "E-mail",
    "Page address",
    "Stars",
    "Thumbs up",
    "Comment",
    "May we quote you",
)


def comments(messages: list[dict[str, Any]], heads: tuple[str, ...] = HEADS, since: str = "") -> str:
    """The table of comments, as a site exports it; one row has no comment."""
    pages = addresses()
    rows = [dict(zip(HEADS, BROKEN_ROW, strict=False))]
    for number, message in enumerate((m for m in messages if m["channel"] == "comment"), start=101):
        rows.append(
            {
                "Number": str(number),
                "Date": message["sent_at"][:16].replace("T", " "),
                "Name": message["name"],
                "E-mail": message["email"],
                "Page address": pages.get(message["page"], ""),
                "Stars": message["stars"],
                "Thumbs up": message["thumbs_up"],
                "Comment": message["text"],
                "May we quote you": message["may_quote"],
            }
        )
    out = io.StringIO()
    table = csv.DictWriter(out, heads, extrasaction="ignore", lineterminator="\r\n")
    table.writeheader()
    table.writerows(row for row in sorted(rows, key=lambda row: row["Date"]) if row["Date"] >= since)
    return out.getvalue()


def letters(messages: list[dict[str, Any]]) -> bytes:
    """The mailbox: readers' mails, a bounce, automatic replies, a newsletter, and two answers of Maren's."""
    mails = []
    for place, message in enumerate(m for m in messages if m["channel"] == "email"):
        sent_at = datetime.fromisoformat(message["sent_at"])
        mail = _bounce(message) if message["id"] == BOUNCE else _letter(message, place)
        mails.append((sent_at, _complete(mail, message, sent_at)))
        if message["id"] in ANSWERED:
            mails.append((sent_at + timedelta(hours=20), _answer(message, sent_at + timedelta(hours=20))))
    return b"".join(_in_mailbox(mail, sent_at) for sent_at, mail in sorted(mails, key=lambda pair: pair[0]))


def _complete(mail: EmailMessage, message: dict[str, Any], sent_at: datetime) -> EmailMessage:
    """Give a mail the head that every mail has."""
    user, _, host = message["email"].partition("@")
    if message["id"] == BOUNCE:
        mail["From"] = Address("Mail delivery", "mailer-daemon", "mx2.mailhost.example")
    else:
        mail["From"] = Address(message["name"], user, host)
    mail["To"] = OWNER
    mail["Subject"] = message["subject"] or ""
    mail["Date"] = format_datetime(sent_at)
    mail["Message-ID"] = f"<{message['id']}@{host}>"
    if message["id"] in AUTOMATIC:
        mail["Auto-Submitted"] = "auto-replied"
    if message["id"] == NEWSLETTER:
        mail["List-Id"] = "<letter.larder.example>"
        mail["List-Unsubscribe"] = "<https://larder.example/leave>"
        mail["Precedence"] = "bulk"
    return mail


def _letter(message: dict[str, Any], place: int) -> EmailMessage:
    """A reader's mail: plain, flowed or with an HTML twin, some signed, answers with what they answer."""
    mail = EmailMessage(policy=POLICY)
    answers = "junk" not in message["kinds"] and (message["subject"] or "").lower().startswith("re:")
    history = _quoted(message) if answers else ""
    sign = next((text for every, text in SIGNATURES.items() if place % every == 1), "")
    body = message["text"] + (f"\n\n{sign}" if sign and not answers else "") + history
    mail.set_content(body + "\n", cte="base64" if place % 7 == 2 else "quoted-printable")
    if place % 4 == 0:
        paragraphs = "".join(
            f"<p>{escape(part).replace(chr(10), '<br>')}</p>" for part in message["text"].split("\n\n")
        )
        tail = f"<blockquote>{escape(history).replace(chr(10), '<br>')}</blockquote>" if history else ""
        mail.add_alternative(
            f"<html><body>{paragraphs}{tail}</body></html>", subtype="html", cte="quoted-printable"
        )
        mail.set_boundary(f"=_{message['id']}")
    if answers:
        mail["In-Reply-To"] = f"<sunday-{message['sent_at'][:7]}@harbourstreet.example>"
        mail["References"] = mail["In-Reply-To"]
    return mail


def _quoted(message: dict[str, Any]) -> str:
    """What a mail program puts under an answer to the newsletter."""
    day = datetime.fromisoformat(message["sent_at"]) - timedelta(days=1)
    return (
        f"\n\nOn {day:%a, %d %b %Y} at 07:00, Maren <maren@harbourstreet.example> wrote:\n"
        "> Good morning from Harbour Street.\n>\n"
        "> This week I burnt a batch of lemon pots, dropped a squash on my foot and\n"
        "> finally wrote down the traybake. Tell me how you get on.\n>\n> Maren\n"
    )


def _bounce(message: dict[str, Any]) -> EmailMessage:
    """A notice that a mail could not be delivered (RFC 3464)."""
    mail = EmailMessage(policy=POLICY)
    mail.set_content(message["text"] + "\n", cte="7bit")
    mail.make_mixed(boundary="=_returned")
    report = EmailMessage(policy=POLICY)
    report["Content-Type"] = "message/delivery-status"
    report.set_payload([message_from_string(block, policy=POLICY) for block in DELIVERY_STATUS])
    mail.attach(report)
    mail.replace_header(
        "Content-Type", 'multipart/report; report-type=delivery-status; boundary="=_returned"'
    )
    return mail


def _answer(message: dict[str, Any], sent_at: datetime) -> EmailMessage:
    """Maren's own answer to a reader."""
    mail = EmailMessage(policy=POLICY)
    user, _, host = message["email"].partition("@")
    quoted = "\n".join(f"> {line}" for line in message["text"].split("\n"))
    mail.set_content(
        f"{ANSWERED[message['id']]}\n\n{message['name']} wrote:\n{quoted}\n", cte="quoted-printable"
    )
    mail["From"] = OWNER
    mail["To"] = Address(message["name"], user, host)
    mail["Subject"] = f"Re: {message['subject']}"
    mail["Date"] = format_datetime(sent_at)
    mail["Message-ID"] = f"<answer-{message['id']}@harbourstreet.example>"
    mail["In-Reply-To"] = f"<{message['id']}@{host}>"
    return mail


def _in_mailbox(mail: EmailMessage, sent_at: datetime) -> bytes:
    """`mail` as mbox keeps it: a From line before, a blank line after, From lines in it quoted (RFC 4155)."""
    moment = sent_at.astimezone(UTC).strftime("%a %b %d %H:%M:%S %Y")
    lines = [
        b">" + line if line.lstrip(b">").startswith(b"From ") else line for line in bytes(mail).split(b"\n")
    ]
    return f"From reader@mail.example {moment}\n".encode() + b"\n".join(lines).rstrip(b"\n") + b"\n\n"


def files() -> dict[str, bytes]:
    """Name and content of every door file."""
    messages = load()
    other_heads = (
        "Date",
        "Comment",
        "Number",
        "Page address",
        "Name",
        "E-mail",
        "Stars",
        "Thumbs up",
        "May we quote you",
    )
    return {
        "letters.mbox": letters(messages),
        "comments.csv": comments(messages).encode(),
        "comments_november.csv": comments(messages, other_heads, since=NOVEMBER).encode(),
        "forms.jsonl": forms(messages).encode(),
        "social.jsonl": social(messages).encode(),
    }


def main(folder: Path = FOLDER) -> None:
    """Write the door files."""
    for name, content in files().items():
        (folder / name).write_bytes(content)


if __name__ == "__main__":
    main()
