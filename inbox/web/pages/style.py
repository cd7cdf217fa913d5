"""The page that shows the look of all others."""

from dataclasses import dataclass
from typing import ClassVar

from inbox.web.page import Page


@dataclass(frozen=True)
class StylePage(Page):
    """Type, colours and components, each once."""

    template: ClassVar[str] = "entry/style.html"
