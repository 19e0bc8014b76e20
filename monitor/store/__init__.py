"""The only database code: journal, records, traces."""
