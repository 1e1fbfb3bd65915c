"""The dated figures: one TOML file per tax year, each value with its source and standing, and a strict loader."""
