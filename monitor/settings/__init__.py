"""Site files: TOML text to checked settings."""
