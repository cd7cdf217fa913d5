"""Answering readers: whom first, with which words, and sending once.

Nothing here writes to a reader unless a person pressed send. Read `whom.owed`,
then `drafts.open_draft`, then `sending`.
"""
