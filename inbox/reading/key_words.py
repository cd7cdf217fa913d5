"""Key words: what must stand in a text for a regular expression to match, so that most need not be tried.

Of the hundreds of turns of phrase that are looked for, few can stand in one sentence. Each has a word that it
cannot do without ("rise" in "(not|never) rise"); the words of a sentence, looked up in one table, say which
expressions are worth trying. It only saves time: an expression of which no such word can be told is always
tried. Start with `KeyWords.worth_trying`.
"""

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

MOST_WORDS_KEPT: Final = 50_000

_WORD: Final = re.compile(r"\w+")
_PART: Final = re.compile(
    r"(?P<open>\((?:\?:|(?!\?)))|(?P<bar>\|)|(?P<close>\))|(?P<edge>\\b|\^)"
    r"|(?P<gap>\\\W|\\W|\[[ -]+\]|[^\w\\()\[\]|*+?{}.^$])|(?P<letter>[^\W_])"
    r"|(?P<other>\[\^?.[^]]*\]|\\.|[.$_])"
)
_TIMES: Final = re.compile(r"([*+?]|\{\d*(?:,\d*)?\})?\??")

Keys = frozenset[str]


class KeyWords:
    """Which of several expressions can match a text at all.

    Parameters
    ----------
    expressions : sequence of str
        Regular expressions that will be tried as they stand, without flags.
    """

    def __init__(self, expressions: Sequence[str]) -> None:
        self._by_beginning: dict[str, set[int]] = defaultdict(set)
        self._always: set[int] = set()
        for number, expression in enumerate(expressions):
            keys = key_words(expression)
            if keys is None:
                self._always.add(number)
            for key in keys or ():
                self._by_beginning[key].add(number)
        self._longest = max(map(len, self._by_beginning), default=0)
        self._known: dict[str, frozenset[int]] = {}

    def worth_trying(self, text: str) -> list[int]:
        """Numbers of the expressions that may match `text`, in order; no other can."""
        wanted = set(self._always)
        for word in _WORD.findall(text):
            found = self._known.get(word)
            wanted.update(self._look_up(word) if found is None else found)
        return sorted(wanted)

    def _look_up(self, word: str) -> frozenset[int]:
        beginnings = (word[:end] for end in range(1, min(len(word), self._longest) + 1))
        found = frozenset[int]().union(*(self._by_beginning.get(one, ()) for one in beginnings))
        if len(self._known) >= MOST_WORDS_KEPT:  # rare words of a long archive: keep memory bounded
            self._known.clear()
        if len(word) <= self._longest:
            self._known[word] = found
        return found


def key_words(expression: str) -> Keys | None:
    r"""Beginnings of words, one of which stands in every text that `expression` matches.

    Returns
    -------
    frozenset of str or None
        None where the expression can match without such a word, or has a part that is not understood here.

    Examples
    --------
    >>> sorted(key_words(r"\b(?:not|never)\W+(?:rise\b|prov\w*)"))
    ['prov', 'rise']
    >>> key_words(r"\w+\?") is None
    True
    """
    branches = _branches_of(expression)
    return _one_of([_Walk(branch) for branch in branches]) if branches else None


@dataclass(frozen=True, slots=True)
class _Part:
    kind: str
    text: str
    times: str
    branches: "list[list[_Part]]"

    @property
    def may_be_absent(self) -> bool:
        return self.times in ("?", "*") or self.times.startswith(("{0", "{,"))


def _branches_of(expression: str) -> list[list[_Part]] | None:
    """The branches of an expression, each as its parts; None where a part is not understood."""
    open_groups: list[list[list[_Part]]] = [[[]]]
    at = 0
    while at < len(expression):
        match = _PART.match(expression, at)
        if match is None:
            return None
        kind, at = str(match.lastgroup), match.end()
        if kind == "open":
            open_groups.append([[]])
        elif kind == "bar":
            open_groups[-1].append([])
        else:
            times = _TIMES.match(expression, at)
            at = times.end() if times else at
            branches = open_groups.pop() if kind == "close" else []
            often = (times and times[1]) or ""
            open_groups[-1][-1].append(_Part(kind, match.group(), often, branches))
    return open_groups[0]


class _Walk:
    """One branch from its first part to its last: what it cannot do without, and how it ends.

    Attributes
    ----------
    keys : frozenset of str or None
        Of the sets of which one word must stand in the text, the most telling: its shortest word is longest.
    fresh : bool
        Whether a letter that follows would surely begin a word.
    """

    def __init__(self, branch: Sequence[_Part], *, fresh: bool = False) -> None:
        self.fresh = fresh
        self.keys: Keys | None = None
        self._word = ""
        for part in branch:
            self._pass(part)
        self._end_word()

    def _pass(self, part: _Part) -> None:
        if part.kind == "letter" and not part.may_be_absent and (self._word or self.fresh):
            self._word += part.text
            self.fresh = False
            if part.times:
                self._end_word()
            return
        self._end_word()
        if part.kind == "gap":
            self.fresh = self.fresh or not part.may_be_absent
        elif part.kind == "edge":
            self.fresh = True
        elif part.kind == "close":
            inside = [_Walk(branch, fresh=self.fresh) for branch in part.branches]
            if not part.may_be_absent:
                self._offer(_one_of(inside))
            self.fresh = all(walk.fresh for walk in inside) and (self.fresh or not part.may_be_absent)
        else:
            self.fresh = False

    def _end_word(self) -> None:
        if self._word:
            self._offer(frozenset((self._word,)))
        self._word = ""

    def _offer(self, keys: Keys | None) -> None:
        if keys and (self.keys is None or _shortest(keys) > _shortest(self.keys)):
            self.keys = keys


def _one_of(walks: Sequence[_Walk]) -> Keys | None:
    """Together what any of several branches needs; None where one of them needs nothing."""
    needed = [walk.keys for walk in walks if walk.keys]
    return frozenset[str]().union(*needed) if len(needed) == len(walks) else None


def _shortest(keys: Keys) -> int:
    return min(map(len, keys))
