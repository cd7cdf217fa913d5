"""What each page shows: frozen dataclasses, and the functions that fill them from the ledger."""
