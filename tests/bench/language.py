"""How right the language of a message is read: `python -m tests.bench.language`.

Sentences: `tests/reading/language_sentences.tsv`, invented, fifteen a language, written after the word tables
and not used to choose them. False alarms: all shipped labelled messages, English but for those named below.
"""

import json
import time
from collections import Counter
from pathlib import Path

from inbox.places import seed_folder
from inbox.reading.language import detect_language

SENTENCES = Path(__file__).parent.parent / "reading" / "language_sentences.tsv"
NOT_ENGLISH = {"bread-243": "fr", "bread-381": "es", "story-090": "de", "story-091": "fr", "story-092": "es"}
"""Found by reading; every other shipped message is English, if not always the Queen's."""


def sentences() -> list[tuple[str, str]]:
    """Language and text of each invented sentence."""
    rows = (line.split("\t") for line in SENTENCES.read_text(encoding="utf-8").splitlines())
    return [(code, text) for code, text in rows]


def messages() -> list[tuple[str, str]]:
    """Identifier and text of each shipped labelled message."""
    paths = [*sorted((seed_folder() / "messages").glob("*.jsonl")), seed_folder() / "demo" / "labels.jsonl"]
    rows = [json.loads(line) for path in paths for line in path.read_text(encoding="utf-8").splitlines()]
    return [(row["id"], row["text"]) for row in rows]


def main() -> None:
    asked, right = Counter(), Counter()
    for code, text in sentences():
        found = detect_language(text)
        asked[code] += 1
        right[code] += found == code
        if found != code:
            print(f"  {code} read as {found}: {text}")
    print("  ".join(f"{code} {right[code]}/{asked[code]}" for code in asked))
    foreign = [code for code in asked if code != "en"]
    print(f"other than English: {sum(right[c] for c in foreign) / sum(asked[c] for c in foreign):.3f} right")
    rows = messages()
    start = time.perf_counter()
    found_in = {name: detect_language(text) for name, text in rows}
    seconds = time.perf_counter() - start
    alarms = {name: code for name, code in found_in.items() if code != NOT_ENGLISH.get(name, "en")}
    print(f"{len(rows)} shipped messages: {len(alarms)} wrong {alarms}, {len(rows) / seconds:.0f} a second")


if __name__ == "__main__":
    main()
