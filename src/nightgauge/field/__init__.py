"""A field folder as frozen objects: settings of field.toml and rows of tags.csv, in SI."""
