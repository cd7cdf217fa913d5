"""The pages: what the owner and readers see in a browser.

`areas/` has one blueprint an area, whose views parse, make one call below and
name a page; `pages/` has what each page shows, as dataclasses filled from the
ledger. Start with `application.create_app`, then `access.may`.
"""
