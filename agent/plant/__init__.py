"""The plant file: TOML to models, models to the plans that `advisor` works with."""
