"""How many complaints about a recipe's page are placed in the recipe: `python -m tests.bench.page_places`.

Whether the place is right is for a person to read: `--show 6` prints every sixth with its line.
"""

import argparse
from collections import Counter
from pathlib import Path

from inbox.places import seed_folder
from inbox.ranking.page_places import find_place
from inbox.reading.training import load_catalogue, load_labelled
from inbox.words import RECIPE_PAGE_FAULTS


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=seed_folder() / "messages")
    parser.add_argument("--show", type=int, default=0, help="print one in so many with its place")
    asked = parser.parse_args()
    told, placed = Counter[str](), Counter[str]()
    for path in sorted(asked.folder.glob("*_recipes.json")):
        recipes = {recipe.slug: recipe for recipe in load_catalogue(path)}
        for message in load_labelled(path.with_name(path.name.replace("_recipes.json", ".jsonl"))):
            for fault in set(RECIPE_PAGE_FAULTS).intersection(message.faults):
                recipe = recipes.get(message.recipe or "")
                if recipe is None:
                    continue
                place = find_place(fault, message.told.text, recipe.ingredients, recipe.steps)
                told[fault] += 1
                placed[fault] += place is not None
                if asked.show and told.total() % asked.show == 0:
                    print(f"{fault}: {' '.join(message.told.text.split())[:200]}\n    {place and place.text}")
    for fault in RECIPE_PAGE_FAULTS:
        print(f"{fault:<14} {placed[fault]:>4} of {told[fault]:>4} placed")
    print(f"{'all':<14} {placed.total():>4} of {told.total():>4} placed")


if __name__ == "__main__":
    main()
