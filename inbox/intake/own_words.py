"""A reader's own new words in the text of a mail.

Taken off are the mail that was answered, quoted above, below or between; signatures; "sent from my phone";
legal notices; the foot of a newsletter. What was forwarded stays. Everything works line by line, so the time
grows with the length of the text, whatever it says. Start with `own_words`.
"""

import re

from inbox.intake import mail_marks as marks

_OF_HISTORY = frozenset(("quotation", "attribution", "divider", "block", "forward"))
_SIGNATURE_LINES = 20
"""Most lines of a signature, with the dashes above it."""
_BLOCK_LINES = 12
"""Lines at the beginning of a forwarded mail in which its header fields are looked for."""
_TAIL_LINES = 8
"""Lines at the end in which a goodbye is looked for."""


def own_words(text: str, *, subject: str = "", is_answer: bool = False) -> str:
    """What the writer of a mail wrote anew.

    Parameters
    ----------
    text : str
        Text of the mail; quoted lines begin with ">".
    subject : str
        Decides, with "Fwd:" and the like, that what stands below a divider was forwarded.
    is_answer : bool
        Whether the mail answers another one; then nothing at all may be left of it.

    Returns
    -------
    str
        The words without surrounding blank lines; never empty unless `text` is, or a mail that answers
        another says nothing new.
    """
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    signs = marks.signs_in(text)
    forwarded: list[str] = []
    kept = lines
    quoted = False
    if signs & _OF_HISTORY:
        kept, forwarded = _split_forward(lines, signs, forwards=bool(marks.FORWARD_SUBJECT.match(subject)))
        own = _without_history(kept, signs)
        quoted = len(own) != len(kept)
        kept = own
    kept = _without_tail(kept, signs)
    words = _tidy([*kept, *([""] if forwarded else []), *forwarded])
    if words or (is_answer and quoted):
        return words
    return _tidy([_unquoted(line) for line in lines])


def _split_forward(lines: list[str], signs: frozenset[str], *, forwards: bool) -> tuple[list[str], list[str]]:
    """Lines before and after the place where a forwarded mail begins."""
    if not forwards and "forward" not in signs:
        return lines, []
    if forwards:
        # A mail that says so in its subject may have all that it forwards marked as quoted.
        lines = [_unquoted(line) for line in lines]
    for number, line in enumerate(lines):
        if marks.FORWARD.match(line):
            return lines[:number], _after_block(lines, number + 1)
        if forwards and (marks.DIVIDER.match(line) or _starts_block(lines, number)):
            return lines[:number], _after_block(lines, number)
    return lines, []


def _after_block(lines: list[str], start: int) -> list[str]:
    """Lines of a forwarded mail without the block of its header fields and without quote marks."""
    bare = [_unquoted(line) for line in lines[start:]]
    number = 0
    while number < min(len(bare), _BLOCK_LINES):
        line, following = bare[number], bare[number + 1] if number + 1 < len(bare) else ""
        within = not line.strip() or _is_field(line) or marks.DIVIDER.match(line) or marks.RULE.match(line)
        # A long field goes on in the next line.
        continued = number > 0 and _is_field(bare[number - 1]) and _is_field(following)
        if not (within or continued):
            break
        number += 1
    return bare[number:]


def _is_field(line: str) -> bool:
    return marks.BLOCK_FROM.match(line) is not None or marks.BLOCK_FIELD.match(line) is not None


def _without_history(lines: list[str], signs: frozenset[str]) -> list[str]:
    """Lines without quotations; a divider without quote marks ends the own words."""
    own: list[str] = []
    says_something = False
    number = 0
    while number < len(lines):
        line = lines[number]
        start = line.lstrip()[:1]
        if not start:
            own.append(line)
            number += 1
            continue
        if start in ">|" and marks.QUOTED.match(line):
            number += 1
            continue
        divides = "divider" in signs and marks.DIVIDER.match(line) is not None
        if divides or ("block" in signs and _starts_block(lines, number)):
            if says_something:
                return own
            number = _skip_block(lines, number)
            continue
        length = _attribution_length(lines, number) if "attribution" in signs else 0
        if length:
            following = _next_words(lines, number + length)
            if following is None or marks.QUOTED.match(lines[following]):
                number += length
                continue
            # Not marked as quoted: the rest is the old mail, unless nothing was written above it.
            if says_something:
                return own
            number += length
            continue
        own.append(_before_attribution(lines, number) if "attribution" in signs else line)
        says_something = says_something or _has_words([line])
        number += 1
    return own


def _before_attribution(lines: list[str], number: int) -> str:
    """The line without an "On ... wrote:" that follows own words on it, above a quotation."""
    line = lines[number]
    if len(line) > 400 or not line.rstrip().endswith(("wrote:", "writes:")):
        return line
    shared = marks.SHARED_LINE.match(line)
    return shared["own"].rstrip("-") if shared and _quotation_follows(lines, number + 1) else line


def _quotation_follows(lines: list[str], number: int) -> bool:
    following = _next_words(lines, number)
    return following is not None and marks.QUOTED.match(lines[following]) is not None


def _attribution_length(lines: list[str], number: int) -> int:
    """How many lines the "On ... wrote:" that begins here takes; 0 if none does."""
    if len(lines[number]) > 400 or not marks.ATTRIBUTION_START.match(lines[number]):
        return 0
    if marks.BARE_ATTRIBUTION.match(lines[number]) and _quotation_follows(lines, number + 1):
        return 1
    joined = ""
    for length in range(1, 5):
        if number + length > len(lines) or (length > 1 and not lines[number + length - 1].strip()):
            return 0
        joined = f"{joined} {lines[number + length - 1].strip()}".strip()
        if len(joined) > 500:
            return 0
        if joined.endswith((":", "--")) and marks.ATTRIBUTION.match(joined):
            return length
    return 0


def _starts_block(lines: list[str], number: int) -> bool:
    """Whether a mail program's block of header fields begins here, perhaps below a rule."""
    if marks.RULE.match(lines[number]):
        number += 1
        while number < len(lines) and not lines[number].strip():
            number += 1
    if number >= len(lines) or not _is_field(lines[number]):
        return False
    near = [line for line in lines[number + 1 : number + 9] if line.strip()][:5]
    count = sum(marks.BLOCK_FIELD.match(line) is not None for line in near)
    if marks.BLOCK_FROM.match(lines[number]):
        return count >= 2
    return count >= 1 and any(marks.BLOCK_FROM.match(line) for line in near[:3])


def _skip_block(lines: list[str], number: int) -> int:
    """Number of the first line after a divider and its block of header fields."""
    number += 1
    while number < len(lines) and (not lines[number].strip() or _is_field(lines[number])):
        number += 1
    return number


def _next_words(lines: list[str], number: int) -> int | None:
    return next((place for place in range(number, len(lines)) if lines[place].strip()), None)


def _has_words(lines: list[str]) -> bool:
    return any(character.isalnum() for line in lines for character in line)


def _without_tail(lines: list[str], signs: frozenset[str]) -> list[str]:
    """Lines without signature, legal notice, newsletter foot, "sent from" and goodbye."""
    if "notice" in signs:
        lines = _without_notices(lines)
    for number in range(max(len(lines) - _SIGNATURE_LINES, 0), len(lines)):
        if marks.SIGNATURE_DASHES.match(lines[number]) and _has_words(lines[:number]):
            lines = lines[:number]
            break
    if "sent_from" in signs:
        kept = [line for line in lines if not marks.SENT_FROM.match(line)]
        lines = kept if _has_words(kept) else lines
    return _without_goodbye(lines)


def _without_notices(lines: list[str]) -> list[str]:
    """Lines without a banner at the top, and without legal notices and newsletter feet below own words."""
    paragraphs = _paragraphs(lines)
    if paragraphs and len(paragraphs) > 1 and marks.is_banner(" ".join(paragraphs[0])):
        paragraphs = paragraphs[1:]
    kept: list[list[str]] = []
    says_something = False
    for paragraph in paragraphs:
        joined = " ".join(paragraph)
        if says_something:
            if marks.is_newsletter_foot(joined):
                break
            if marks.is_disclaimer(joined):
                continue
        kept.append(paragraph)
        says_something = says_something or _has_words(paragraph)
    return [line for paragraph in kept for line in [*paragraph, ""]]


def _paragraphs(lines: list[str]) -> list[list[str]]:
    found: list[list[str]] = [[]]
    for line in lines:
        if line.strip():
            found[-1].append(line)
        elif found[-1]:
            found.append([])
    return [paragraph for paragraph in found if paragraph]


def _without_goodbye(lines: list[str]) -> list[str]:
    """Lines without a closing such as "Kind regards" and the name and address below it."""
    last = next((place for place in range(len(lines) - 1, -1, -1) if lines[place].strip()), -1)
    for number in range(max(last - _TAIL_LINES, 1), last + 1):
        if len(lines[number]) < 60 and marks.GOODBYE.match(lines[number]) and _has_words(lines[:number]):
            below = [line.strip() for line in lines[number + 1 : last + 1] if line.strip()]
            if len(below) <= 6 and all(len(line) <= 60 and not line.endswith(("?", "!")) for line in below):
                return lines[:number]
    return lines


def _unquoted(line: str) -> str:
    return re.sub(r"^(?:\s{0,3}>)+ ?", "", line) if ">" in line[:8] else line


def _tidy(lines: list[str]) -> str:
    return re.sub(r"\n{3,}", "\n\n", "\n".join(line.rstrip() for line in lines)).strip()
