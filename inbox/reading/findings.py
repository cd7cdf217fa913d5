"""The shapes that go into and come out of a reading; no behaviour."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Told:
    """What the program is told of one message before it reads it.

    Attributes
    ----------
    text : str
        The reader's own new words.
    page : str or None
        Slug of the recipe whose page or form the message was sent from.
    thread_recipe : str or None
        Slug of the recipe that the message which this one answers is about.
    links : tuple of str
        Addresses found in the message, as written.
    stars : float or None
        A rating that came with it, on the scale 1 to 5.
    """

    text: str
    subject: str | None = None
    channel: str = "comment"
    page: str | None = None
    thread_recipe: str | None = None
    links: tuple[str, ...] = ()
    stars: float | None = None


@dataclass(frozen=True, slots=True)
class CatalogueRecipe:
    """A published recipe as the computation sees it."""

    slug: str
    title: str
    url: str | None = None
    ingredients: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    tags: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Labelled:
    """One message with what a person says of it: training and evaluation data.

    Attributes
    ----------
    site : str
        Where it was written to. What has to hold on a new site is chosen by leaving out one site at a time.
    """

    id: str
    told: Told
    kinds: frozenset[str]
    outcome: str | None = None
    faults: frozenset[str] = frozenset()
    hazard: str | None = None
    recipe: str | None = None
    wants: str | None = None
    theme: str | None = None
    site: str = ""


@dataclass(frozen=True, slots=True)
class HazardFound:
    """A hazard, how sure the reading is of it, and the reader's words that triggered it."""

    code: str
    probability: float
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RecipeLink:
    """Which recipe a message is about.

    Attributes
    ----------
    slug : str or None
        None where the message names no recipe, or the margin is too small to say.
    confidence : float
        From 0 to 1.
    also : tuple of str
        Further recipes that the message is about, or the candidates that were too close to call.
    why : str
        One plain sentence for the message's page.
    """

    slug: str | None
    confidence: float = 0.0
    also: tuple[str, ...] = ()
    why: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """What the program makes of one message.

    Attributes
    ----------
    kind_probabilities : mapping of str to float
        Calibrated, one entry for each of `words.KINDS`.
    kinds : tuple of str
        Those that hold, in the order of `words.KINDS`; never empty.
    outcome_probabilities : mapping of str to float
        Over "worked", "mixed", "failed" and "unsaid"; sums to 1.
    outcome : str or None
        None where the message is no made-it report, or does not say.
    fault_probabilities : mapping of str to float
        Only the faults with a probability of at least 0.05.
    faults : tuple of str
        Those that hold, in the order of `words.FAULTS`.
    wants : str or None
        For a request: what is asked for, as a short noun phrase.
    language : str
        ISO 639-1 code, "en" unless the message clearly is in another language.
    """

    kind_probabilities: Mapping[str, float]
    kinds: tuple[str, ...]
    outcome_probabilities: Mapping[str, float]
    outcome: str | None
    fault_probabilities: Mapping[str, float]
    faults: tuple[str, ...]
    hazard: HazardFound | None
    recipe: RecipeLink
    wants: str | None = None
    language: str = "en"
