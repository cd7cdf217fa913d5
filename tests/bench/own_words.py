"""How often the reader's own new words are found in the mails of other libraries' tests, by us and by them.

    pip download --no-deps --no-binary :all: --dest FOLDER quotequail==0.5.4 talon==1.4.4
    python -m tests.bench.own_words FOLDER [--misses]

Each mail is the text of an answer or of a forward, with the words that the library's authors say are new in
it (`tests/outside/reply_fixtures.py`). White space does not count. We and each library may take off a
signature or a goodbye that the authors left: what is found may also be what is found in the expected words
alone. A library that is not installed is left out (mail-parser-reply and quotequail; talon does not install
any more). HTML is turned into text by us for all; the libraries take what was forwarded for history.

How honest this is: our misses on these mails were looked at, and ours was mended after them.
"""

import argparse
import importlib
from collections.abc import Callable
from pathlib import Path

from inbox.intake.own_words import own_words
from tests.outside.reply_fixtures import Case, cases

Finder = Callable[[Case], str]


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("folder", type=Path, help="folder with the source distributions")
    options.add_argument("--misses", action="store_true", help="print what we do not find")
    given = options.parse_args()
    finders: dict[str, Finder] = {"ours": ours} | _libraries()
    found = cases(given.folder)
    for kind in sorted({case.set for case in found}):
        of_kind = [case for case in found if case.set == kind]
        shares = (f"{name} {sum(right(case, find) for case in of_kind):2}" for name, find in finders.items())
        print(f"{kind:20} {len(of_kind):3} mails: {', '.join(shares)}")
        for case in of_kind:
            if given.misses and not right(case, ours):
                print(f"--- {case.name}\n{case.text}\n=== expected\n{case.words}\n=== ours\n{ours(case)}")


def ours(case: Case) -> str:
    """What the door of mails keeps of the text."""
    return own_words(case.text, subject="Fwd: it" if case.forwards else "Re: it", is_answer=not case.forwards)


def right(case: Case, find: Finder) -> bool:
    """Whether what `find` finds are the expected words, or what it finds in those alone."""
    alone = Case(case.set, case.name, case.words, case.words)
    return _squeezed(find(case)) in {_squeezed(case.words), _squeezed(find(alone))}


def _squeezed(text: str) -> str:
    return "".join(text.split())


def _libraries() -> dict[str, Finder]:
    found: dict[str, Finder] = {}
    try:
        parser = importlib.import_module("mailparser_reply").EmailReplyParser(
            languages=["en", "de", "fr", "es", "it", "nl", "pt", "da", "sv", "pl"]
        )
        found["mail-parser-reply"] = lambda case: next(
            (reply.body for reply in parser.read(case.text).replies), ""
        )
    except ImportError:
        pass
    try:
        quote = importlib.import_module("quotequail").quote
        found["quotequail"] = lambda case: "\n".join(
            part for new, part in quote(case.text, quote_intro_line=True) if new
        )
    except ImportError:
        pass
    return found


if __name__ == "__main__":
    main()
