"""One module a page: layout only."""
