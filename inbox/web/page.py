"""What a view may answer with."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from flask import Response


class Page:
    """Base of all page dataclasses: names the template that shows it."""

    template: ClassVar[str]
    holds_secret: ClassVar[bool] = False
    """Whether it shows what lets somebody in: a link, a code, a proof. Such a page is never packed."""


@dataclass(frozen=True)
class Refusal:
    """A page that says why something was not done; nothing is stored, unless `keep`."""

    page: Page
    status: int = 422
    keep: bool = False


Answer = Page | Refusal | Response
View = Callable[..., Answer]
