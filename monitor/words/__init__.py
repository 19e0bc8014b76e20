"""Messages of the core said in words, by language and units."""
