"""The ledger: tables, engine and sessions, and the few queries that several floors share.

`tables` has the rows, `engine` opens the database, `migrations/` changes it.
"""
