"""What a reader wrote into a form, out of the mail by which a web server passes it on.

Such a notice has a label and a colon before each answer. Pure; see `read_notice`.
"""

import re
from collections.abc import Mapping

from inbox.intake.incoming import clean_address
from inbox.intake.table_columns import recognise_columns
from inbox.intake.table_values import to_stars

_LABELLED = re.compile(r"\s*[*_]{0,2}([A-Za-z][\w '’?/()-]{1,40}?)[*_]{0,2}\s?:[*_]{0,2}(?:\s+(.*))?$")
_END = re.compile(
    r"\s*(?:[-_=*]{2,}\s*$|this (?:e-?mail|message) (?:was|is) sent (?:from|via|by)|sent from (?:your|the) )",
    re.IGNORECASE,
)


def read_notice(text: str) -> dict[str, str] | None:
    """Fields of a form's notice by their names in `table_columns.FIELDS`.

    Returns
    -------
    dict of str to str, or None
        None if the mail is no notice: one has a label for what was written, and one for a name or address.
    """
    lines = text.split("\n")
    labels = {
        found[1].strip(): number for number, line in enumerate(lines) if (found := _LABELLED.match(line))
    }
    columns = recognise_columns(list(labels))
    if "text" not in columns or not ("email" in columns or "name" in columns):
        return None
    starts = {labels[label]: field for field, label in columns.items()}
    fields: dict[str, str] = {}
    for number, field in starts.items():
        fields[field] = _answer(lines, number, starts, is_long=field == "text")
    if "email" in fields and clean_address(fields["email"]) is None:
        del fields["email"]
    return fields if fields["text"] else None


def _answer(lines: list[str], start: int, starts: Mapping[int, str], *, is_long: bool) -> str:
    """Answer that begins after the label on line `start`; of what was written all lines, else only one."""
    found = _LABELLED.match(lines[start])
    answer = [found[2] or ""] if found else []
    for number in range(start + 1, len(lines)):
        line = lines[number]
        if number in starts or _END.match(line):
            break
        if not is_long and (answer[0].strip() or not line.strip()):
            break
        answer.append(line)
        if not is_long:
            break
    return "\n".join(answer).strip()


def notice_stars(fields: Mapping[str, str]) -> float | None:
    """Stars of a notice on the scale 1 to 5."""
    return to_stars(fields.get("stars"), 5.0)
