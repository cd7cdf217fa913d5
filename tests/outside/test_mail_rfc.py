"""Mail against the examples of the RFCs; structure after the RFC, addresses invented.

RFC 2047 section 8, RFC 2231, RFC 3676 section 4, RFC 3834 section 5, RFC 3464 appendix E, RFC 4155
appendix A, RFC 5322 sections 3.6.4 and 4.3, RFC 2369 section 3.
"""

import io
from datetime import UTC, datetime

import pytest

from inbox.intake.flowed import unflow
from inbox.intake.headers import addresses, decode_words, message_ids, parse_date
from inbox.intake.incoming import CameBack, Incoming
from inbox.intake.mail_parts import parameters_of
from inbox.intake.mbox import split_mbox
from inbox.intake.mime import MailOptions, read_mail

OPTIONS = MailOptions(datetime(2026, 11, 23, tzinfo=UTC))


def read(text: str) -> Incoming:
    item = read_mail(text.encode(), OPTIONS)
    assert isinstance(item, Incoming)
    return item


@pytest.mark.parametrize(
    ("encoded", "shown"),
    [
        ("=?ISO-8859-1?Q?a?=", "a"),
        ("=?ISO-8859-1?Q?a?= b", "a b"),
        ("=?ISO-8859-1?Q?a?= =?ISO-8859-1?Q?b?=", "ab"),
        ("=?ISO-8859-1?Q?a?=  =?ISO-8859-1?Q?b?=", "ab"),
        ("=?ISO-8859-1?Q?a?=\r\n    =?ISO-8859-1?Q?b?=", "ab"),
        ("=?ISO-8859-1?Q?a_b?=", "a b"),
        ("=?ISO-8859-1?Q?a?= =?ISO-8859-2?Q?_b?=", "a b"),
        (
            "=?ISO-8859-1?B?SWYgeW91IGNhbiByZWFkIHRoaXMgeW8=?= "
            "=?ISO-8859-2?B?dSB1bmRlcnN0YW5kIHRoZSBleGFtcGxlLg==?=",
            "If you can read this you understand the example.",
        ),
    ],
)
def test_encoded_words_of_rfc_2047_section_8(encoded: str, shown: str) -> None:
    assert decode_words(encoded) == shown


def test_parameters_of_rfc_2231() -> None:
    # Sections 3, 4 and 4.1 (from memory).
    pieces = 'message/external-body; access-type=URL; URL*0="ftp://";URL*1="cs.example.com/pub/moose.tar"'
    assert parameters_of(pieces)["url"] == "ftp://cs.example.com/pub/moose.tar"
    encoded = "application/x-stuff; title*=us-ascii'en-us'This%20is%20%2A%2A%2Afun%2A%2A%2A"
    assert parameters_of(encoded)["title"] == "This is ***fun***"
    both = (
        "application/x-stuff; title*0*=us-ascii'en'This%20is%20even%20more%20; "
        'title*1*=%2A%2A%2Afun%2A%2A%2A%20; title*2="isn\'t it!"'
    )
    assert parameters_of(both)["title"] == "This is even more ***fun*** isn't it!"


@pytest.mark.parametrize(
    ("zone", "hours"),
    [
        ("EST", -5), ("EDT", -4), ("CST", -6), ("CDT", -5), ("MST", -7), ("MDT", -6), ("PST", -8),
        ("PDT", -7),
        ("UT", 0), ("GMT", 0), ("+0000", 0), ("-0500", -5), ("XYZ", 0),
    ],
)  # fmt: skip
def test_zones_of_rfc_5322_section_4_3(zone: str, hours: int) -> None:
    found = parse_date(f"Fri, 21 Nov 1997 09:55:06 {zone}")
    assert found is not None
    assert (datetime(1997, 11, 21, 9, 55, 6, tzinfo=UTC) - found).total_seconds() == hours * 3600


@pytest.mark.parametrize(
    ("written", "year"), [("49", 2049), ("00", 2000), ("50", 1950), ("99", 1999), ("105", 2005)]
)
def test_obsolete_years_of_rfc_5322_section_4_3(written: str, year: int) -> None:
    found = parse_date(f"21 Nov {written} 09:55:06 GMT")
    assert found is not None
    assert found.year == year


def test_ids_of_rfc_5322_section_3_6_4() -> None:
    assert message_ids("<1234@local.machine.example> <3456@example.net>") == [
        "1234@local.machine.example",
        "3456@example.net",
    ]
    assert message_ids("<testabcd.1234@silly.test >") == ["testabcd.1234@silly.test"]


def test_groups_of_rfc_5322_appendix_a_1_3() -> None:
    # Appendix A.1.3, from memory.
    group = "A Group:Ed Jones <c@a.test>,joe@where.test,John <jdoe@one.test>;"
    assert addresses([group]) == [("Ed Jones", "c@a.test"), ("", "joe@where.test"), ("John", "jdoe@one.test")]
    assert addresses(["Undisclosed recipients:;"]) == []


FLOWED = (
    "`Take some more tea,' the March Hare said to Alice, very \n"
    "earnestly.\n"
    "\n"
    "`I've had nothing yet,' Alice replied in an offended tone, `so \n"
    "I can't take more.'\n"
    "\n"
    "`You mean you can't take LESS,' said the Hatter: `it's very \n"
    "easy to take MORE than nothing.'"
)


def test_flowed_paragraphs_of_rfc_3676_section_4_7() -> None:
    assert FLOWED.count("\n") == 7
    paragraphs = unflow(FLOWED).split("\n")
    assert [bool(paragraph) for paragraph in paragraphs] == [True, False, True, False, True]
    assert paragraphs[0] == "`Take some more tea,' the March Hare said to Alice, very earnestly."


def test_flowed_quotations_of_rfc_3676_sections_4_5_and_4_7() -> None:
    quoted = ">>>Take some more tea.\n>>I've had nothing yet, so I can't \n>> take more.\n>You mean LESS"
    assert unflow(quoted).split("\n") == [
        ">>> Take some more tea.",
        ">> I've had nothing yet, so I can't take more.",
        "> You mean LESS",
    ]
    assert unflow(">> X") == unflow(">>X") == ">> X"
    assert unflow("> > X") == "> > X"


def test_flowed_depth_wins_over_a_soft_break() -> None:
    # RFC 3676, section 4.5: a soft break before a change of depth ends the paragraph.
    assert unflow("> Thou villainous \n>> Thou artless \n>> swag-bellied").split("\n") == [
        "> Thou villainous",
        ">> Thou artless swag-bellied",
    ]


def test_flowed_signature_delsp_and_stuffing() -> None:
    assert unflow("a \n-- \nAda") == "a\n-- \nAda"
    assert unflow("ab \ncd", del_sp=True) == "abcd"
    assert unflow(" From here\n >not a quotation") == "From here\n>not a quotation"


MBOX = b"""From alice@example.com Mon Nov  2 10:00:00 2026
From: alice@example.com
Subject: one

From the oven it came too early.

From my sister I have this tip: salt it.

From alice@example.com to the table: five minutes.
>From here it is quoted.
>>From there twice.

From bob@example.com Mon Nov  2 11:00:00 2026
From: bob@example.com
Subject: two

Second.

"""


def test_separators_of_rfc_4155_appendix_a() -> None:
    first, second = (piece.raw for piece in split_mbox(io.BytesIO(MBOX)))
    assert b"From the oven it came" in first
    assert b"\nFrom here it is quoted.\n>From there twice.\n" in first
    assert first.endswith(b"twice.\n")
    assert second == b"From: bob@example.com\nSubject: two\n\nSecond.\n"


@pytest.mark.parametrize(
    "separator",
    [
        "From - Mon Nov 02 10:00:00 2026",
        "From 1790000000@xxx Mon Nov 02 10:00:00 +0000 2026",
        "From MAILER-DAEMON Mon Nov  2 10:00:00 2026",
        "From ada@example.com Mon Nov  2 10:00 2026",
        "From ada@example.com  Mon, 2 Nov 2026 10:00:00 +0000",
        "From ada@example.com Mon Nov  2 10:00:00 GMT 2026 remote from there",
        "From ada@example.com",
    ],
)
def test_separators_that_programs_write(separator: str) -> None:
    box = "".join(f"{separator}\nSubject: {number}\n\nBody\n\n" for number in range(3)).encode()
    assert [piece.is_mail for piece in split_mbox(io.BytesIO(box))] == [True] * 3
    assert len(list(split_mbox(io.BytesIO(box.replace(b"\n", b"\r\n"))))) == 3


@pytest.mark.parametrize(
    ("value", "automatic"),
    [
        ("no", False),
        ("No (really)", False),
        ("auto-generated", True),
        ("AUTO-REPLIED", True),
        ('auto-replied; owner-email="a@example.com"', True),
        ("auto-notified; owner-token=x", True),
        ("(a comment) auto-replied", True),
        ("x-something", True),
    ],
)
def test_auto_submitted_of_rfc_3834_section_5(value: str, automatic: bool) -> None:
    item = read(f"From: ada@example.com\nSubject: Hello\nAuto-Submitted: {value}\n\nI am away.\n")
    assert (item.kept_apart == "auto_reply") == automatic


def report(*blocks: str, enclosed: str = "") -> str:
    status = "\n\n".join(["Reporting-MTA: dns; mail.example.com", *blocks])
    return (
        "From: Mail Delivery Subsystem <MAILER-DAEMON@mail.example.com>\n"
        "To: hello@kitchen.example\n"
        "Subject: Returned mail\n"
        'Content-Type: multipart/report; report-type=delivery-status; boundary="B"\n\n'
        "--B\n\nThe mail could not be delivered.\n\n"
        f"--B\nContent-Type: message/delivery-status\n\n{status}\n\n{enclosed}--B--\n"
    )


ENCLOSED = (
    "--B\nContent-Type: message/rfc822\n\n"
    "From: hello@kitchen.example\nMessage-ID: <reply.7@kitchen.example>\nSubject: Re: loaf\n\nDear Ada\n\n"
)


def test_report_1_of_rfc_3464_appendix_e() -> None:
    # Action failed with a status of class 4: the action is trusted.
    block = (
        "Original-Recipient: rfc822;ada@example.com\n"
        "Final-Recipient: rfc822;ada@example.com\n"
        "Action: failed\nStatus: 4.0.0\n"
        "Diagnostic-Code: smtp; 426 connection timed out\n"
        "Last-Attempt-Date: Thu, 7 Jul 1994 17:15:49 -0400"
    )
    item = read(report(block, enclosed=ENCLOSED))
    assert item.kept_apart == "bounce"
    assert item.came_back == (
        CameBack("reply.7@kitchen.example", "ada@example.com", True, "426 connection timed out"),
    )


def test_report_2_of_rfc_3464_appendix_e_has_three_recipients() -> None:
    item = read(
        report(
            "Original-Recipient: rfc822;a@example.com\nFinal-Recipient: rfc822;a@example.com\n"
            "Action: failed\nStatus: 5.0.0 (permanent failure)\n"
            "Diagnostic-Code: smtp; 550 mailbox unavailable",
            "Original-Recipient: rfc822;b@example.com\nFinal-Recipient: rfc822;b@example.com\n"
            "Action: delayed\nStatus: 4.0.0 (hpcc.example.com: host name lookup failure)",
            "Original-Recipient: rfc822;c@example.com\nFinal-Recipient: rfc822;c@example.com\n"
            "Action: failed\nStatus: 5.0.0\nDiagnostic-Code: smtp; 550 user unknown",
        )
    )
    assert [(one.address, one.permanent) for one in item.came_back] == [
        ("a@example.com", True),
        ("b@example.com", False),
        ("c@example.com", True),
    ]


def test_report_3_of_rfc_3464_appendix_e_has_another_order_and_type() -> None:
    item = read(report("Final-Recipient: unknown; somebody@example.com\nStatus: 5.0.0\nAction: failed"))
    assert [(one.address, one.permanent) for one in item.came_back] == [("somebody@example.com", True)]


def test_report_4_of_rfc_3464_appendix_e_only_delays() -> None:
    item = read(
        report(
            "Final-Recipient: rfc822;ada@example.com\nAction: delayed\nStatus: 4.2.2\n"
            "Will-Retry-Until: Thu, 14 Jul 1994 17:15:49 -0400"
        )
    )
    assert item.kept_apart == "bounce"
    assert [one.permanent for one in item.came_back] == [False]


@pytest.mark.parametrize(
    "field",
    [
        "List-Unsubscribe: <mailto:list@example.com?subject=unsubscribe>",
        "List-Unsubscribe: (Use this to get off) <mailto:off@example.com?body=unsubscribe%20list>",
        "List-Unsubscribe: <mailto:list-off@example.com>",
        "List-Unsubscribe: <http://www.example.com/list.cgi?cmd=unsub&lst=list>, <mailto:list@example.com>",
    ],
)
def test_newsletters_by_the_fields_of_rfc_2369(field: str) -> None:
    assert read(f"From: news@example.com\nSubject: This week\n{field}\n\nHello\n").kept_apart == "newsletter"


def test_list_mail_and_a_list_that_is_the_owners_address() -> None:
    text = (
        "From: ada@example.com\nList-Post: <mailto:hello@kitchen.example>\nList-Id: <x.example>\n\nIt sank.\n"
    )
    assert read(text).kept_apart == "list_mail"
    own = MailOptions(OPTIONS.now, frozenset(("hello@kitchen.example",)))
    item = read_mail(text.encode(), own)
    assert isinstance(item, Incoming)
    assert item.kept_apart is None
