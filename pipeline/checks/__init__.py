"""One rule a module; limits.toml holds the reference values, each with its source."""
