"""The demo's door files are those that its labels and table of senders give."""

import json
import mailbox
from collections import Counter
from email.message import Message
from pathlib import Path

from inbox.words import CHANNELS, FAULTS, HAZARDS, KINDS, OUTCOMES
from tests.stories import build_demo


def test_table_of_senders_names_every_labelled_message_once() -> None:
    rows = (build_demo.FOLDER / "sent.csv").read_text("utf-8").splitlines()[1:]
    ids = [row.split(",", 1)[0] for row in rows]
    truths = (build_demo.FOLDER / "labels.jsonl").read_text("utf-8").removesuffix("\n").split("\n")
    labelled = [json.loads(truth)["id"] for truth in truths]
    assert len(ids) == len(set(ids))
    assert sorted(ids) == sorted(labelled)


def test_labels_use_the_words_of_the_trade() -> None:
    for message in build_demo.load():
        assert message["channel"] in CHANNELS
        assert set(message["kinds"]) <= set(KINDS)
        assert set(message["faults"]) <= set(FAULTS)
        assert message["hazard"] in (None, *HAZARDS)
        assert message["outcome"] in (None, *OUTCOMES)
        assert ("request" in message["kinds"]) == (message["theme"] is not None)
        assert message["kinds"] in (["comment"], ["junk"]) or not {"comment", "junk"} & set(message["kinds"])


def test_door_files_are_those_that_the_builder_makes(tmp_path: Path) -> None:
    build_demo.main(tmp_path)
    for name in ("comments.csv", "comments_november.csv", "forms.jsonl", "social.jsonl"):
        assert (tmp_path / name).read_bytes() == (build_demo.FOLDER / name).read_bytes()
    # Versions of Python fold mail headers differently, so mails are compared as they are read.
    assert _mails(tmp_path / "letters.mbox") == _mails(build_demo.FOLDER / "letters.mbox")


def _mails(path: Path) -> Counter[tuple[str, str, str, str]]:
    def told(mail: Message) -> tuple[str, str, str, str]:
        parts = [str(part.get_payload(decode=True)) for part in mail.walk() if not part.is_multipart()]
        heads = tuple(" ".join(str(mail[name]).split()) for name in ("Message-ID", "Date", "Subject"))
        return (*heads, "\n".join(parts))

    mails = mailbox.mbox(path, create=False)
    try:
        return Counter(told(mail) for mail in mails)
    finally:
        mails.close()
