import json
from pathlib import Path

import pytest

from inbox.errors import InputError
from inbox.reading.training import load_catalogue, load_labelled, seed_messages

GOOD = {
    "id": "a-1",
    "text": "It sank.",
    "kinds": ["made_it", "problem"],
    "outcome": "failed",
    "faults": ["sank"],
}


def written(folder: Path, *rows: object) -> Path:
    path = folder / "site.jsonl"
    path.write_text("\n".join(r if isinstance(r, str) else json.dumps(r) for r in rows), encoding="utf-8")
    return path


def test_a_row_becomes_a_labelled_message(tmp_path: Path) -> None:
    row = {**GOOD, "channel": "form", "page": "sponge", "stars": 2, "subject": "Sponge"}
    [message] = load_labelled(written(tmp_path, row, ""))
    assert message.told.text == "It sank."
    assert (message.told.page, message.told.stars, message.told.channel) == ("sponge", 2, "form")
    assert (message.kinds, message.outcome, message.site) == ({"made_it", "problem"}, "failed", "site")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"text": " "}, "line 2: field text"),
        ({"id": None}, "line 2: field id"),
        ({"kinds": []}, "line 2: field kinds is empty"),
        ({"kinds": ["praise"]}, "line 2: field kinds has 'praise'"),
        ({"kinds": ["junk", "problem"], "outcome": None}, "stand alone"),
        ({"kinds": ["problem"]}, "an outcome needs the kind made_it"),
        ({"outcome": "great"}, "field outcome has 'great'"),
        ({"faults": ["meh"]}, "field faults has 'meh'"),
        ({"faults": "sank"}, "should be a list"),
        ({"hazard": "fire"}, "field hazard has 'fire'"),
        ({"stars": 9}, "field stars"),
        ({"channel": "pigeon"}, "field channel"),
    ],
)
def test_a_bad_row_is_named_by_file_and_line(tmp_path: Path, change: dict[str, object], said: str) -> None:
    with pytest.raises(InputError, match=r"site\.jsonl, line 2") as caught:
        load_labelled(written(tmp_path, {**GOOD, "id": "a-0"}, {**GOOD, **change}))
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (["{"], "line 1 should hold one JSON object"),
        ([GOOD, GOOD], "repeats the id"),
        ([], "holds no message"),
    ],
)
def test_a_bad_file_is_refused(tmp_path: Path, rows: list[object], said: str) -> None:
    with pytest.raises(InputError, match=said):
        load_labelled(written(tmp_path, *rows))


def test_a_missing_or_unreadable_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        load_labelled(tmp_path / "none.jsonl")
    path = tmp_path / "latin.jsonl"
    path.write_bytes(b'{"text": "cr\xe8me"}')
    with pytest.raises(InputError, match="UTF-8"):
        load_labelled(path)


@pytest.mark.parametrize("words", ["{}", "[1]", '[{"slug": "a"}]', "["])
def test_a_bad_catalogue_is_refused(tmp_path: Path, words: str) -> None:
    path = tmp_path / "recipes.json"
    path.write_text(words, encoding="utf-8")
    with pytest.raises(InputError, match=r"recipes\.json"):
        load_catalogue(path)


def test_the_messages_that_ship_are_sound_and_never_of_the_demo_site() -> None:
    messages = seed_messages()
    assert len({message.id for message in messages}) == len(messages) >= 1800
    assert "dinner" not in {message.site for message in messages}
