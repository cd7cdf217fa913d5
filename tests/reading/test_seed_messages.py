"""The shipped training messages keep to the closed lists of words and to their catalogues."""

import json
from collections import Counter
from pathlib import Path

import pytest

from inbox.places import seed_folder
from inbox.words import CHANNELS, FAULTS, HAZARDS, KINDS, OUTCOMES

FILES = sorted(path for path in (seed_folder() / "messages").glob("*.jsonl"))


def rows_of(path: Path) -> list[dict]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def complaints(row: dict, slugs: set[str]) -> list[str]:
    """What is wrong with one labelled message."""
    kinds = set(row["kinds"])
    checks = {
        "kind": kinds and kinds <= set(KINDS),
        "alone": len(kinds) == 1 or not kinds & {"comment", "junk"},
        "channel": row["channel"] in CHANNELS,
        "outcome": row["outcome"] in (None, *OUTCOMES),
        "outcome without made_it": row["outcome"] is None or "made_it" in kinds,
        "fault": set(row["faults"]) <= set(FAULTS),
        "fault without problem": not row["faults"] or "problem" in kinds,
        "hazard": row["hazard"] in (None, *HAZARDS),
        "recipe": row["recipe"] is None or row["recipe"] in slugs,
        "wants": ("request" in kinds) == bool(row["wants"]) == bool(row["theme"]),
        "text": bool(row["text"].strip()),
    }
    return [name for name, holds in checks.items() if not holds]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_labels_keep_to_the_lists(path: Path) -> None:
    catalogue = json.loads(path.with_name(f"{path.stem}_recipes.json").read_text(encoding="utf-8"))
    slugs = {recipe["slug"] for recipe in catalogue}
    rows = rows_of(path)
    assert [(row["id"], wrong) for row in rows if (wrong := complaints(row, slugs))] == []
    assert len({row["id"] for row in rows}) == len(rows)


def test_the_extra_messages_have_enough_of_what_is_rare() -> None:
    rows = rows_of(seed_folder() / "messages" / "extra.jsonl")
    faults = Counter(fault for row in rows for fault in row["faults"])
    hazards = Counter(row["hazard"] for row in rows)
    assert {fault: faults[fault] for fault in FAULTS if faults[fault] < 10} == {}
    assert {hazard: hazards[hazard] for hazard in HAZARDS if hazards[hazard] < 14} == {}
