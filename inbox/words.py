"""The closed lists of words that code, tables, pages and files share.

Each list is in the order in which it is shown. Their meaning is described in
DEVELOPERS.md, "Words".
"""

from typing import Final

CHANNELS: Final = ("form", "email", "comment", "social")

KINDS: Final = ("made_it", "problem", "request", "question", "comment", "junk")

OUTCOMES: Final = ("worked", "mixed", "failed")

FAULTS: Final = (
    "dense", "dry", "gummy", "crumbly", "tough", "soggy", "greasy", "grainy", "curdled", "lumpy",
    "did_not_rise", "sank", "spread", "cracked", "overflowed", "stuck", "fell_apart", "leaked",
    "did_not_set", "too_thin", "too_thick", "icy", "shrank",
    "undercooked", "overcooked", "pale", "bland", "too_sweet", "too_salty", "too_sour", "too_spicy",
    "bitter", "off_flavour",
    "wrong_amount", "missing_step", "unclear_step", "wrong_time", "wrong_yield", "page_fault",
)  # fmt: skip

RECIPE_PAGE_FAULTS: Final = (
    "wrong_amount", "missing_step", "unclear_step", "wrong_time", "wrong_yield", "page_fault",
)  # fmt: skip
"""Faults of the written recipe or its page; one credible report is enough."""

LANGUAGE_READ: Final = "en"
"""The one language that the program reads; others are told apart and left to a person."""

HAZARDS: Final = (
    "allergen", "illness", "injury", "undercooked_risk", "preserving_risk", "foreign_object", "pet",
)  # fmt: skip

SHELVES: Final = ("open", "on_the_bench", "published", "passed_over")

STANDINGS: Final = ("failing", "watch", "holding_up", "too_few_reports")

REPLY_STATES: Final = ("draft", "waiting", "sending", "sent", "came_back", "by_hand")

ROLES: Final = ("owner", "helper")

DOOR_EVENTS: Final = {
    "signed_in": "signed in",
    "link_used": "signed in by a one-time link",
    "code_right": "the code from the phone was given",
    "spare_code_used": "a spare code was used",
    "password_wrong": "a wrong password was given",
    "code_wrong": "a wrong code was given, after the right password",
    "held_up": "turned away after too many tries",
    "signed_out": "signed out",
    "sign_in_ended": "one sign-in was ended from another",
    "sign_ins_ended": "all sign-ins but one were ended",
    "password_changed": "the password was changed",
    "code_on": "the second step was switched on",
    "code_off": "the second step was switched off",
    "spare_codes_made": "new spare codes were made",
    "link_made": "an owner made a one-time link",
    "ended_by_owner": "an owner ended every sign-in",
    "code_off_by_owner": "an owner switched the second step off",
    "let_in_no_more": "an owner closed the account",
    "other_changed": "changed how somebody else signs in",
    "turned_away": "asked for what is the owner's",
}
"""What happens at the door, as the log and the door book call it, and in words."""

DOOR_WORDS: Final = {
    "form": "form",
    "mail": "mail file",
    "table": "table",
    "jsonl": "message file",
    "feed": "feed",
    "mailbox": "mailbox",
    "mention": "mention on a site",
    "recipes": "recipes",
}
"""The doors as pages and digest name them."""
