"""Texts as cells of a sheet: whatever a tag or a well is called, a spreadsheet shows it and computes nothing."""

import base64
import re

import polars as pl
from markupsafe import Markup

_FORMULA = re.compile(r"^\s*[=+\-@\uFF1D\uFF0B\uFF0D\uFF20\u2212|%]")
"""What spreadsheets take for the begin of a formula, an old-style one among them, also in wide letters."""
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u0085\u2028\u2029]+")


def cell(value: object) -> object:
    """Return a cell: numbers as they are, line breaks in a text as spaces, an apostrophe before a formula."""
    if value is None or isinstance(value, int | float):
        return value
    text = _CONTROL.sub(" ", str(value))
    return f"'{text}" if _FORMULA.match(text) else text


def link(frame: pl.DataFrame, datetime_format: str) -> Markup:
    """Return a frame as the address of a CSV that the page itself carries."""
    texts = frame.with_columns(
        column.cast(pl.String).map_elements(cell, return_dtype=pl.String).alias(column.name)
        for column in frame.select(pl.selectors.string() | pl.selectors.categorical() | pl.selectors.enum())
    )
    text = texts.write_csv(datetime_format=datetime_format)
    return Markup(f"data:text/csv;charset=utf-8;base64,{base64.b64encode(text.encode()).decode()}")
