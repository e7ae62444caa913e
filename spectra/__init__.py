"""The shipped shelf: one TOML file per material, its source first."""
