"""What a recipe's own lines say: how much of what, at which temperature, for how long, in which tin.

Each measure looks at one thing that a usual cause of a fault hangs on, and says in one sentence what the
recipe gives, whether it is missing, or whether it is out of the usual. The usual ranges are common practice,
no source, unless said. Start at `MEASURES`.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from inbox.ranking.amounts import (
    ML_PER_CUP,
    Line,
    Temperature,
    find_minutes,
    find_temperatures,
    parse_lines,
)
from inbox.reading.findings import CatalogueRecipe

_TSP = ML_PER_CUP / 48
_GRAMS_A_TSP = 4.6
"""Weight of a teaspoon of baking powder or bicarbonate (USDA SR Legacy; from memory)."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What the recipe says on one point: "missing", "unusual" or "fine", and a sentence."""

    state: Literal["missing", "unusual", "fine"]
    text: str


@dataclass(frozen=True, slots=True)
class RecipeFacts:
    """A recipe taken apart: `text` is everything in small letters."""

    lines: tuple[Line, ...]
    steps: tuple[str, ...]
    temperatures: tuple[Temperature, ...]
    minutes: tuple[tuple[float, float], ...]
    text: str

    def says(self, pattern: str) -> bool:
        """Whether ingredients or steps match."""
        return re.search(pattern, self.text) is not None

    def grams(self, pattern: str, *, but_not: str = r"(?!)") -> float:
        """Weight of all ingredients whose name matches."""
        return sum(
            line.grams() or 0.0
            for line in self.lines
            if re.search(pattern, line.name) and not re.search(but_not, line.name)
        )


_BESIDE = re.compile(
    r"\b(?:for|to) (?:the |a )?"
    r"(?:filling|icing|glaze|drizzle|topping|sauce|syrup|jam|serve|fry|frying|dust|finish|top)\b",
    re.IGNORECASE,
)


def take_apart(recipe: CatalogueRecipe) -> RecipeFacts:
    """Read the lines of a recipe; what goes into a filling or an icing is not weighed with the rest."""
    steps = " ".join(recipe.steps)
    base = [line for line in recipe.ingredients if not _BESIDE.search(line)]
    return RecipeFacts(
        tuple(parse_lines(base)),
        recipe.steps,
        tuple(find_temperatures(steps)),
        tuple(find_minutes(steps)),
        "\n".join([*recipe.ingredients, *recipe.steps]).lower(),
    )


_FLOUR, _NOT_FLOUR = r"\bflour\b", r"corn ?flour|to dust|for dusting|for the tin"
_FAT = r"\bbutter\b|\boil\b|margarine|lard|shortening"
_SUGAR = r"\bsugar\b|honey|syrup|treacle"
_LIQUID = r"\bwater\b|\bmilk\b|buttermilk|\bcream\b|stock|juice|coconut milk|beer"
_OVEN = r"\bbake|\boven\b|\broast"


def _round(amount: float) -> str:
    return f"{amount:.0f}" if amount >= 20 else f"{amount:.1f}".rstrip("0").rstrip(".")


def _raising_agent(facts: RecipeFacts) -> Finding | None:
    flour = facts.grams(_FLOUR, but_not=_NOT_FLOUR)
    if flour < 100 or facts.says(r"yeast|starter|sourdough"):
        return None
    powder = facts.grams("baking powder") / _GRAMS_A_TSP
    soda = facts.grams(r"bicarb|baking soda") / _GRAMS_A_TSP
    raised = facts.grams("self[- ]rais")
    strength = (powder + 4 * soda + 1.2 * raised / 125) * 125 / flour
    amounts = ((powder, "tsp baking powder"), (soda, "tsp bicarbonate"), (raised, "g self-raising flour"))
    parts = [f"{_round(amount)} {name}" for amount, name in amounts if amount]
    if not parts:
        absent = Finding("missing", f"No raising agent is listed for {_round(flour)} g of flour.")
        return absent if facts.says(r"\begg") else None
    said = f"{' and '.join(parts)} to {_round(flour)} g of flour, as strong as {_round(strength)} tsp powder"
    state: Literal["unusual", "fine"] = "fine" if 0.75 <= strength <= 2.6 else "unusual"
    return Finding(state, f"{said} to 125 g; usual is 1 to 1¼, with bicarbonate and acid up to twice that.")


def _weights_given(facts: RecipeFacts) -> Finding | None:
    dry = [line for line in facts.lines if re.search(r"flour|cornflour|starch|cocoa|oats|sugar", line.name)]
    by_cup = [line for line in dry if line.amounts and not any(one.unit == "g" for one in line.amounts)
              and any(one.unit == "ml" and one.middle >= ML_PER_CUP / 4 for one in line.amounts)]  # fmt: skip
    if by_cup:
        return Finding("unusual", f"“{by_cup[0].text.strip()}” gives cups and no weight.")
    if any(one.unit == "g" for line in dry for one in line.amounts):
        return Finding("fine", "The dry ingredients are given by weight.")
    return None


def _tin_size(facts: RecipeFacts) -> Finding | None:
    if not facts.says(r"\btin\b|\bpan\b|\bdish\b|mould|\btray\b") or not facts.says(_OVEN):
        return None
    size = re.search(
        r"\d+\s*(?:x|×)?\s*\d*\s*(?:cm|inch|in\b|\"|litre|-hole)|\d+\s*g (?:\([^)]*\) )?loaf tin|\d+\s*lb",
        "\n".join(facts.steps),
    )
    if size:
        return Finding("fine", f"The size of the tin is given ({size[0].strip()}).")
    return Finding("missing", "No step gives the size of the tin.")


def _oven_degrees(facts: RecipeFacts) -> list[Temperature]:
    return [one for one in facts.temperatures if one.celsius >= 128]


def _oven_temperature(facts: RecipeFacts) -> Finding | None:
    if not facts.says(_OVEN):
        return None
    degrees = _oven_degrees(facts)
    if not degrees:
        return Finding("missing", "No step gives an oven temperature.")
    return Finding("fine", f"The oven is set to {degrees[0].celsius:.0f} °C.")


def _fan_said(facts: RecipeFacts) -> Finding | None:
    degrees = _oven_degrees(facts)
    if not degrees or not facts.says(_OVEN):
        return None
    if facts.says(r"\bfan\b|convection"):
        return Finding("fine", "The recipe says whether the oven is with or without fan.")
    return Finding("missing", f"{degrees[0].celsius:.0f} °C is given, but not whether with or without fan.")


def _inner_temperature(facts: RecipeFacts) -> Finding | None:
    low = [one for one in facts.temperatures if 40 <= one.celsius < 128]
    if low:
        return Finding("fine", f"A step gives {low[0].celsius:.0f} °C to go by.")
    if facts.says(r"thermometer|probe"):
        return Finding("fine", "A step asks for a thermometer.")
    return Finding("missing", "No step gives a temperature to check by.")


def _frying_temperature(facts: RecipeFacts) -> Finding | None:
    if not facts.says(r"deep[- ]?fr|\bfry\b.*\b(?:balls|doughnut|batch)|litres? (?:\w+ )?oil|ml oil to fry"):
        return None
    degrees = [one for one in facts.temperatures if 150 <= one.celsius <= 200]
    if degrees:
        return Finding("fine", f"The fat is to be at {degrees[0].celsius:.0f} °C.")
    return Finding("missing", "No step gives the temperature of the fat.")


def _cooking_time(facts: RecipeFacts) -> Finding | None:
    if not facts.minutes:
        return Finding("missing", "No step gives a time.")
    low, high = max(facts.minutes, key=lambda span: span[1] if span[1] < 600 else 0)
    span = _round(low) if low == high else f"{_round(low)} to {_round(high)}"
    return Finding("fine", f"The longest time given is {span} minutes.")


def _fat_and_sugar(facts: RecipeFacts) -> Finding | None:
    flour = facts.grams(_FLOUR, but_not=_NOT_FLOUR)
    if flour < 100:
        return None
    fat, sugar = facts.grams(_FAT, but_not=r"peanut|almond"), facts.grams(_SUGAR, but_not="icing")
    if fat > 2 * flour:  # a bath of oil to fry in
        return None
    said = f"{_round(fat)} g of fat and {_round(sugar)} g of sugar to {_round(flour)} g of flour"
    if sugar > 1.3 * flour or fat > 1.1 * flour:
        return Finding("unusual", f"{said}: much for the flour.")
    return Finding("fine", f"{said}: within the usual.")


def _hydration(facts: RecipeFacts) -> Finding | None:
    flour = facts.grams(_FLOUR, but_not=_NOT_FLOUR)
    if flour < 200 or not facts.says(r"yeast|starter|sourdough") or facts.says("gluten-free|buckwheat"):
        return None
    water = facts.grams(_LIQUID, but_not=r"\boil\b") + 0.75 * facts.grams(r"\beggs?\b")
    share = 100 * water / flour
    said = f"{_round(water)} g of liquid to {_round(flour)} g of flour ({share:.0f} %)"
    if 50 <= share <= 90:
        return Finding("fine", f"{said}: within the usual 50 to 90 %.")
    return Finding("unusual", f"{said}; usual is 50 to 90 %.")


def _salt_to_flour(facts: RecipeFacts) -> Finding | None:
    flour, salt = facts.grams(_FLOUR, but_not=_NOT_FLOUR), facts.grams(r"\bsalt\b", but_not="unsalted")
    if flour < 200 or not salt:
        return None
    share = 100 * salt / flour
    said = f"{_round(salt)} g of salt to {_round(flour)} g of flour ({share:.1f} %)"
    if share <= 2.5:
        return Finding("fine", f"{said}: within the usual 1 to 2.5 %.")
    return Finding("unusual", f"{said}; usual is 1 to 2.5 %.")


def _yeast(facts: RecipeFacts) -> Finding | None:
    flour, yeast = facts.grams(_FLOUR, but_not=_NOT_FLOUR), facts.grams(r"\byeast\b", but_not="nutritional")
    if flour < 100 or not yeast:
        return None
    dried = yeast / 3 if facts.says("fresh yeast") else yeast
    said = f"{_round(yeast)} g of yeast to {_round(flour)} g of flour"
    share = 100 * dried / flour
    if share > 2.2 or (share < 0.5 and not facts.says(r"overnight|\b(?:8|10|12|14|18|24) (?:to \d+ )?hours")):
        return Finding("unusual", f"{said}; usual is 7 g dried to 500 g.")
    if not facts.says(r"lukewarm|warm|tepid|room temperature|cold"):
        return Finding("missing", f"{said} is usual, but nothing says how warm the liquid should be.")
    return Finding("fine", f"{said}: usual.")


def _setting_agent(facts: RecipeFacts) -> Finding | None:
    liquid = facts.grams(_LIQUID)
    if liquid < 100 or facts.says(r"whites|aquafaba"):
        return None
    for name, pattern, least, most in (
        ("gelatine", "gelatine?", 6.0, 16.0),
        ("cornflour", r"corn ?flour|cornstarch|custard powder", 12.0, 60.0),
    ):
        grams = facts.grams(pattern)
        if grams:
            share = 500 * grams / liquid
            said = f"{_round(grams)} g of {name} to {_round(liquid)} g of liquid: {_round(share)} g to 500 ml"
            usual = f"usual is {_round(least)} to {_round(most)} g"
            return Finding("fine" if least <= share <= most else "unusual", f"{said}; {usual}.")
    return None


def _enzyme_fruit(facts: RecipeFacts) -> Finding | None:
    fruit = re.search(r"pineapple|kiwi|papaya|\bfig", facts.text)
    if not fruit or not facts.says("gelatine?"):
        return None
    if facts.says(rf"(?:tinned|canned|cooked|boil\w*|simmer\w*)[^.\n]*{fruit[0]}"):
        return Finding("fine", f"The {fruit[0]} is cooked or tinned.")
    return Finding("unusual", f"Gelatine is set with {fruit[0]}, and nothing says to cook it first.")


MEASURES: Final[Mapping[str, Callable[[RecipeFacts], Finding | None]]] = {
    "raising_agent": _raising_agent,
    "weights_given": _weights_given,
    "tin_size": _tin_size,
    "oven_temperature": _oven_temperature,
    "fan_said": _fan_said,
    "inner_temperature": _inner_temperature,
    "frying_temperature": _frying_temperature,
    "cooking_time": _cooking_time,
    "fat_and_sugar": _fat_and_sugar,
    "hydration": _hydration,
    "salt_to_flour": _salt_to_flour,
    "yeast": _yeast,
    "setting_agent": _setting_agent,
    "enzyme_fruit": _enzyme_fruit,
}
"""By the name that the fault table uses; None where the point does not apply to the recipe."""
