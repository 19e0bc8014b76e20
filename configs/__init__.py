"""Site files, scenarios and service files that travel with the package."""
