"""Words as they count for recognising a recipe: one form for plural, spelling and accent.

Readers write "donuts", "doughnut" and "dough nuts" of one thing. Start at `words_of`. What a word is worth,
and which recipe it points to, is decided in `recipe_link`.
"""

import re
import unicodedata
from functools import lru_cache
from string import ascii_lowercase

_WORD = re.compile(r"[a-z]+(?:'[a-z]+)?|\d+(?:\.\d+)?")
_FOOD_PICTURE = re.compile(
    "[\U0001f32d-\U0001f37f\U0001f950-\U0001f96f\U0001f9c0-\U0001f9cb\U0001fad0-\U0001fadf]"
)
_FRACTIONS = {"1/4": " quarter ", "1/2": " half ", "1⁄4": " quarter ", "1⁄2": " half "}
_FRACTION = re.compile("|".join(_FRACTIONS))
_NUMBERS = {
    "a": "1", "an": "1", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6",
    "seven": "7", "eight": "8", "nine": "9", "ten": "10", "twelve": "12", "fifteen": "15", "twenty": "20",
    "thirty": "30", "forty": "40", "fifty": "50", "sixty": "60", "ninety": "90", "quarter": "quarter",
    "half": "half",
}  # fmt: skip
_UNITS = {
    "min": "min", "mins": "min", "minute": "min", "minutes": "min", "hour": "hour", "hours": "hour",
    "hr": "hour", "hrs": "hour", "h": "hour", "day": "day", "days": "day", "week": "week", "weeks": "week",
    "g": "g", "gram": "g", "grams": "g", "kg": "kg", "ml": "ml", "litre": "l", "litres": "l", "l": "l",
    "tbsp": "tbsp", "tablespoon": "tbsp", "tablespoons": "tbsp", "tsp": "tsp", "teaspoon": "tsp",
    "teaspoons": "tsp", "cup": "cup", "cups": "cup", "c": "c", "f": "f", "degrees": "c", "cm": "cm",
    "inch": "inch", "inches": "inch",
}  # fmt: skip

_SAME = {
    "arugula": "rocket", "aubergine": "eggplant", "bbq": "barbecue", "beet": "beetroot",
    "bicarb": "bicarbonate", "biccy": "biscuit", "biscotti": "biscuit", "braid": "plait",
    "braided": "plait", "brekkie": "breakfast", "broccolli": "broccoli", "butternut": "squash",
    "cardamon": "cardamom", "cardamum": "cardamom", "chile": "chilli", "chili": "chilli",
    "chilies": "chilli", "chillies": "chilli", "chilly": "chilli", "chix": "chicken", "choc": "chocolate",
    "choccy": "chocolate", "chook": "chicken", "cilantro": "coriander", "cinn": "cinnamon",
    "cinny": "cinnamon", "cuke": "cucumber", "daal": "dal", "dahl": "dal", "df": "dairy", "dhal": "dal",
    "dhall": "dal", "donut": "doughnut", "focacia": "focaccia", "foccaccia": "focaccia",
    "foccacia": "focaccia", "fridge": "refrigerator", "frosting": "icing", "garbanzo": "chickpea",
    "gf": "gluten", "houmous": "hummus", "hummous": "hummus", "humous": "hummus", "icecream": "ice",
    "knives": "knife", "lasagne": "lasagna", "loaves": "loaf", "macaroni": "mac", "marg": "margarine",
    "mayo": "mayonnaise", "molasses": "treacle", "mooli": "daikon", "oatmeal": "oat", "parm": "parmesan",
    "passionfruit": "passion", "pb": "peanut", "pide": "pitta", "pita": "pitta", "plaited": "plait",
    "porridge": "oat", "prawn": "shrimp", "pud": "pudding", "sarnie": "sandwich", "scallion": "onion",
    "soya": "soy", "spud": "potato", "swede": "rutabaga", "tattie": "potato", "tatties": "potato",
    "toms": "tomato", "tumeric": "turmeric", "veg": "vegetable", "veggie": "vegetable", "whiskey": "whisky",
    "xmas": "christmas", "yog": "yogurt", "yoghourt": "yogurt", "yoghurt": "yogurt",
    "zucchini": "courgette",
}  # fmt: skip
"""Spellings, short forms and British or American words for one thing (common practice, no source)."""

STOP_WORDS = frozenset(
    """
a about above absolutely actual actually add added adding after afternoon again ago all almost already
also although always am amazing an and another any anybody anyone anything apart are around as ask asked
asking at ate away awful back bad baked baking barely be beat beautiful because been before behind being
best better between big bit bits book both bother bought boy break bring brought bug but buy by bye c
call called came can cannot cant care centre change changed check child children chopped chosen class
clean clear close club cm coat cold colour com come comes coming comment comments completely cook cooked
cooking cool cooled could couldn count counted counts couple course cover covered cup cups daughter day
days dear definitely degrees delicious did didn didnt different dinner disappointed dish do does doesn
doesnt doing don done dont door double down drop dry due during each early easier easily easy eat eaten
eating edge edges eight either eleven else end ended enough especially etc even ever every everybody
everyone everything exactly example except expect expected extra eye f face fact failed fairly family fan
far favourite fed felt few fifteen fifth finally find fine finely finish finished firm firmed first five
fix fixed fl flavor flavour flavoured flavours follow followed following food for forget forgot forty
forward found four fresh friend friends from front full fun g gave get gets getting gift girl girls give
given gives glad go goes going gone gonna good got gram grams grated great group grow guess guests had
hadn half hand handful hands hang happen happened happy hard has hasn hate have haven having he head
heaped hello help helped her here hers hi him his hm holiday home hope hoping how however html http https
hubby huge hundred hurt husband i idea if im in inch inches ingredient ingredients inside instead into is
isn issue it its itself ive job just keep keeps kept kg kid kids kind kitchen knew know known label large
last late later lb lbs least leave leaves left less let level life light like liked likes line list litre
litres little live ll load loads long look looked looking looks lost lot lots love loved lovely loves
lower lunch made mail main make makes making man many mark matter may maybe me mean means meant medium
melted method middle might min mind mine mins minute minutes miss missing mix mixed mixing mixture ml
moment money month months more most mother move much mum mums my myself name near nearly need needed
needs neighbour never new next nice nine no nobody none nor normal not note nothing now number of off
often oh ok okay old on once one ones online only onto open optional or order original other others our
ours out outside oven over own oz page part parts party past people per perfect perfectly perhaps person
photo pick picture piece pieces pinch place plain plan plate please plenty plus point post posted
practically press print probably problem promise properly pure put puts putting question quick quickly
quite rack rather ratio re reach read reading ready real really reason recipe recipes recommend regards
remember remove result results return right ripe room roughly rub rule said same sat save saw say says
scant school second see seem seemed seems seen selected send sense sent seriously serve served serving
seven several shall she shop should shouldn show side sides simple since sister sit site six size small
so soft softened some somebody somehow someone something sometimes son soon sorry sort sounds split
splits spot spring stage stand standard star stars start started stay step steps still stir stirred stop
straight strange stuff subscribe such suggest sure surprise swap swapped table tablespoon tablespoons
take taken takes taking talk taste tasted tastes tasty tbsp teaspoon teaspoons tell temp temperature ten
terrible test texture than thank thanks that the their them then there these they thing things think
third thirty this those though thought thousand three through throw time times tin tiny tip tips to today
together told tomorrow tonight too took total touch towards tried trouble true try trying tsp twelve
twenty twice two type under until up upset us use used using usual usually various ve version very visit
wait waited waiting want wanted warm warning was wasn wasnt waste watch way we weather week weekend
weekends weeks weight weird well went were weren wet what whatever when where whether which while who
whole why wife will win winner wish with within without woman won wonder wonderful wondering word words
work worked working works worry worse worst worth would wouldn wow write wrong www year years yes
yesterday yet you young your yours yum yummy
""".split()
)
"""Words that say nothing of which recipe is meant: grammar, small talk, amounts, every kitchen's verbs."""


DAYS = frozenset(("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"))
"""Words of some titles ("Tuesday Curry") that mostly only say when."""


@lru_cache(maxsize=65536)
def stem_of(word: str) -> str:
    """One form for a word's spellings, plural and adjective ("lemony", "lemons" and "lemon")."""
    word = _SAME.get(word, word)
    stem = word
    if len(stem) > 4 and stem.endswith("ies"):
        stem = stem[:-3] + "y"
    elif len(stem) > 4 and stem.endswith(("shes", "ches", "xes", "sses", "oes")):
        stem = stem[:-2]
    elif len(stem) > 3 and stem.endswith("s") and not stem.endswith(("ss", "us", "is")):
        stem = stem[:-1]
    stem = _SAME.get(stem, stem)
    for ending in ("ing", "ed", "y"):
        if stem.endswith(ending) and len(stem) - len(ending) >= 4:
            stem = stem[: -len(ending)]
            if stem[-1] == stem[-2] and stem[-1] not in "aeiouls":
                stem = stem[:-1]
            break
    return stem[:-1] if len(stem) > 4 and stem.endswith("e") else stem


def plain(text: str) -> str:
    """`text` in lower case, without accents; "and" for "&", straight apostrophes, words for food pictures."""
    lowered = text.lower().replace("’", "'").replace("&", " and ")
    if lowered.isascii():
        return lowered
    parts = unicodedata.normalize("NFKD", lowered.replace("œ", "oe").replace("ß", "ss"))
    return "".join(_spelt(mark) for mark in parts if not unicodedata.combining(mark))


def _spelt(mark: str) -> str:
    """Return `mark`, or its name where it is a picture of food or drink."""
    if mark < "\U0001f32d" or not _FOOD_PICTURE.match(mark):
        return mark
    return f" {unicodedata.name(mark, '').lower()} "


def words_of(text: str) -> list[str]:
    """Return the words of `text` in order, lower case, without accents or possessive endings.

    Amounts, times and temperatures become one word ("20 minutes" and "twenty mins" are both "20min"), so that
    a reader who quotes one points to the step that has it.
    """
    found = _WORD.findall(_FRACTION.sub(_fraction, plain(text)))
    words: list[str] = []
    for word in found:
        if words and (unit := _UNITS.get(word)) is not None and (count := _count(words[-1])) is not None:
            words[-1] = count + unit
        else:
            words.append(word[:-2] if word.endswith("'s") else word)
    return words


def is_amount(word: str) -> bool:
    """Whether `word` is an amount with its unit, or a number seldom said by chance (from 13 up)."""
    if word[:1].isdigit():
        return not word.isdigit() or int(word) >= 13
    return word.startswith(("quarter", "half")) and word not in ("quarter", "half")


def bare_number(word: str) -> str:
    """Return the number at the front of an amount ("55" of "55min")."""
    return word.rstrip(ascii_lowercase)


def _count(word: str) -> str | None:
    return word if word[0].isdigit() and word[-1].isdigit() else _NUMBERS.get(word)


def _fraction(match: re.Match[str]) -> str:
    return _FRACTIONS[match.group()]
