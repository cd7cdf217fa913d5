"""Why a fault may happen: the fault table, checked against the recipe's own lines and the readers' words.

The table suggests; it never states a cause. Start at `advise` and, for a reply, `questions_to_ask`.
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from inbox.errors import InputError
from inbox.places import seed_folder
from inbox.ranking import wording
from inbox.ranking.recipe_measures import MEASURES, Finding, RecipeFacts
from inbox.words import FAULTS


@dataclass(frozen=True, slots=True)
class UsualCause:
    """One row of the table.

    Attributes
    ----------
    why : str
        The cause, in a sentence.
    source : str
        Where it is published, or "common practice, no source".
    measure : str or None
        Name in `recipe_measures.MEASURES`.
    looks_for, absent, present
        Or: a pattern to look for in the recipe, and what to say where it is absent or present.
    only_if : str or None
        Pattern that the recipe must match for the cause to concern it.
    said : tuple of str
        Patterns by which readers' words point to it.
    """

    why: str
    source: str
    measure: str | None = None
    looks_for: str | None = None
    absent: str = ""
    present: str = ""
    only_if: str | None = None
    said: tuple[str, ...] = ()

    def concerns(self, facts: RecipeFacts) -> bool:
        """Whether it can be a cause in this recipe at all."""
        return self.only_if is None or facts.says(self.only_if)

    def is_said_in(self, text: str) -> bool:
        """Whether a reader's words point to it."""
        return any(re.search(pattern, text, re.IGNORECASE) for pattern in self.said)

    def check(self, facts: RecipeFacts) -> Finding | None:
        """What the recipe says on this point; None where that cannot be seen."""
        if self.measure:
            return MEASURES[self.measure](facts)
        if not self.looks_for:
            return None
        return (
            Finding("fine", self.present) if facts.says(self.looks_for) else Finding("missing", self.absent)
        )


@dataclass(frozen=True, slots=True)
class Question:
    """A question to ask a reader back, and the pattern of words that already answer it."""

    text: str
    answered_by: str


@dataclass(frozen=True, slots=True)
class FaultRow:
    """A fault as the table has it."""

    code: str
    name: str
    causes: tuple[UsualCause, ...]
    ask: tuple[Question, ...]


@dataclass(frozen=True, slots=True)
class Words:
    """What one reader wrote of a fault."""

    message_id: int
    reader: str
    text: str


@dataclass(frozen=True, slots=True)
class Cause:
    """A usual cause, held against one recipe.

    Attributes
    ----------
    finding : Finding or None
        What the recipe itself says on the point.
    said_by : tuple of int
        Messages whose words point to it.
    reader_count, of_readers : int
        Readers of these messages, and all who told of the fault.
    in_words : str
        One line, without the source.
    """

    why: str
    source: str
    finding: Finding | None
    said_by: tuple[int, ...]
    reader_count: int
    of_readers: int
    in_words: str


@lru_cache(maxsize=1)
def fault_table() -> Mapping[str, FaultRow]:
    """Read the table that ships.

    Raises
    ------
    InputError
        If a fault is missing from it or a row names an unknown source, measure or question.
    """
    return read_fault_table((seed_folder() / "faults.json").read_text(encoding="utf-8"))


def read_fault_table(text: str) -> Mapping[str, FaultRow]:
    """Read a fault table, by code in the order of `words.FAULTS`."""
    raw: dict[str, Any] = json.loads(text)
    rows: dict[str, FaultRow] = {}
    for fault in raw["faults"]:
        try:
            asked = (raw["questions"][key] for key in fault["ask"])
            rows[fault["code"]] = FaultRow(
                fault["code"],
                fault["name"],
                tuple(_cause(cause, raw["sources"]) for cause in fault["causes"]),
                tuple(Question(question["ask"], question["answered_by"]) for question in asked),
            )
        except (KeyError, TypeError, re.error) as error:
            raise InputError(
                f"Fault table, fault {fault.get('code')!r}: {error} is not known; mend the row."
            ) from error
    missing = [code for code in FAULTS if code not in rows]
    if missing:
        raise InputError(f"Fault table: no row for {', '.join(missing)}; add one.")
    return {code: rows[code] for code in FAULTS}


def _cause(raw: Mapping[str, Any], sources: Mapping[str, str]) -> UsualCause:
    fields = {**raw, "source": sources[raw["source"]], "said": tuple(raw.get("said", ()))}
    for pattern in (*fields["said"], raw.get("looks_for"), raw.get("only_if")):
        re.compile(pattern or "")
    if raw.get("measure") and raw["measure"] not in MEASURES:
        raise KeyError(raw["measure"])
    return UsualCause(**fields)


def to_explain(faults: Sequence[Mapping[str, Any]]) -> list[str]:
    """Faults whose causes are worth a look: those that stand out or that several told of, if there are any.

    Parameters
    ----------
    faults : sequence of mapping
        As kept with a standing (`faults.FaultCount`), in its order.
    """
    weighty = [one for one in faults if one["stands_out"] or one["reader_count"] > 1]
    return [str(one["fault"]) for one in weighty or faults]


def advise(fault: str, facts: RecipeFacts, words: Sequence[Words] = ()) -> list[Cause]:
    """Usual causes of a fault for one recipe, the likeliest to look at first.

    First those that the words of several readers point to; then those that the recipe leaves open or has out
    of the usual, those of which nothing can be seen, and last those that it takes care of.

    Parameters
    ----------
    words : sequence of Words
        What readers wrote of this fault of this recipe.
    """
    of_readers = len({one.reader for one in words})
    found = []
    for usual in fault_table()[fault].causes:
        pointing = [one for one in words if usual.is_said_in(one.text)]
        if not pointing and not usual.concerns(facts):
            continue
        finding = usual.check(facts) if usual.concerns(facts) else None
        readers = len({one.reader for one in pointing})
        found.append(
            Cause(
                usual.why,
                usual.source,
                finding,
                tuple(one.message_id for one in pointing),
                readers,
                of_readers,
                _in_words(usual.why, finding, readers, of_readers),
            )
        )
    return sorted(
        found, key=lambda cause: (-cause.reader_count if cause.reader_count > 1 else 0, _rank(cause.finding))
    )


def _rank(finding: Finding | None) -> int:
    return 1 if finding is None else 2 if finding.state == "fine" else 0


def _in_words(why: str, finding: Finding | None, readers: int, of_readers: int) -> str:
    parts = [why]
    if finding:
        parts.append(finding.text)
    if readers:
        verb = "speaks" if readers == 1 else "speak"
        parts.append(f"{wording.of(readers, of_readers).capitalize()} with this fault {verb} of it.")
    return " ".join(parts)


def questions_to_ask(faults: Sequence[str], text: str, *, most: int = 3) -> list[str]:
    """Questions worth asking this reader: those of their faults that their words do not answer yet.

    The faults take turns, so that two faults get a question each before one gets two.
    """
    table = fault_table()
    turns = [list(table[fault].ask) for fault in faults if fault in table]
    asked: list[str] = []
    for turn in range(max(map(len, turns), default=0)):
        for questions in turns:
            if turn < len(questions) and len(asked) < most:
                question = questions[turn]
                if question.text not in asked and not re.search(question.answered_by, text, re.IGNORECASE):
                    asked.append(question.text)
    return asked
