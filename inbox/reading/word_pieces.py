"""Cuts text into the word pieces that the contextual encoder knows.

Lower case, accents removed, punctuation apart, then the longest known piece from the left (WordPiece as in
Devlin, Chang, Lee, Toutanova 2019, doi:10.18653/v1/N19-1423). Start with `WordPieces.ids_of`.
"""

import unicodedata
from collections.abc import Iterator, Sequence
from typing import Final

UNKNOWN: Final = "[UNK]"
_DROPPED: Final = ("Mn", "Cf", "Cc", "Co")
_SPACES: Final = str.maketrans("\t\n\r", "   ")
LONGEST_WORD: Final = 100
"""Characters; a longer run without a space is no word."""


class WordPieces:
    """A vocabulary of word pieces, in the order of their numbers."""

    def __init__(self, pieces: Sequence[str]) -> None:
        self.number_of = {piece: number for number, piece in enumerate(pieces)}
        self._known: dict[str, tuple[int, ...]] = {}

    def ids_of(self, text: str) -> list[int]:
        """Numbers of the pieces of `text`, in order."""
        ids: list[int] = []
        for word in words_of(text):
            found = self._known.get(word)
            if found is None:
                found = self._known[word] = self._cut(word)
                if len(self._known) > 50_000:  # rare words of a long archive: keep memory bounded
                    self._known.clear()
            ids.extend(found)
        return ids

    def _cut(self, word: str) -> tuple[int, ...]:
        unknown = (self.number_of[UNKNOWN],)
        if len(word) > LONGEST_WORD:
            return unknown
        ids: list[int] = []
        start = 0
        while start < len(word):
            for end in range(len(word), start, -1):
                number = self.number_of.get(word[start:end] if start == 0 else f"##{word[start:end]}")
                if number is not None:
                    break
            else:
                return unknown
            ids.append(number)
            start = end
        return tuple(ids)


def words_of(text: str) -> Iterator[str]:
    """Lower-case words without accents, and each mark alone."""
    if text.isascii():
        plain = text.lower()
    else:
        spaced = text.lower().translate(_SPACES)
        plain = "".join(
            c for c in unicodedata.normalize("NFD", spaced) if unicodedata.category(c) not in _DROPPED
        )
    word: list[str] = []
    for character in plain:
        if character.isalnum() or not (character.isspace() or _stands_alone(character)):
            word.append(character)
            continue
        if word:
            yield "".join(word)
            word = []
        if not character.isspace():
            yield character
    if word:
        yield "".join(word)


def _stands_alone(character: str) -> bool:
    """Whether a mark is a word of its own: ASCII marks and punctuation are, other signs are not."""
    return character.isascii() or unicodedata.category(character)[0] == "P"
