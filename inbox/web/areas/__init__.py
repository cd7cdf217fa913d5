"""One blueprint an area; a view parses, makes one call below, and returns a page or a redirect."""
