"""Drafting a field from exports nobody has described: what each tag is, which belong together, what they tell.

The way: `readings` (raw samples, one grid of minutes), `behaviour` (each tag alone), `moving` (all pairs), `names`
and `belief` (what names say, and whether), `vessels` (groups), `evidence` and `neighbours` (scores), `guesses` (the
answer, with its confidence and reason), `measured` and `plausible` (settings and units), `draft` and `toml_text` (the
two files), `merging` (a second draft over what people have changed).
"""

from nightgauge.adopt.draft import Draft, DraftVessel, Row, draft_of, tags_text
from nightgauge.adopt.guesses import Guess, Seen, guesses_of, seen_of
from nightgauge.adopt.merging import merged_tags, merged_toml, written_vessels
from nightgauge.adopt.readings import Readings
from nightgauge.adopt.states import number_states
from nightgauge.adopt.toml_text import Header, blanks_of, toml_text

__all__ = [
    "Draft", "DraftVessel", "Guess", "Header", "Readings", "Row", "Seen", "blanks_of", "draft_of", "guesses_of",
    "merged_tags", "merged_toml", "number_states", "seen_of", "tags_text", "toml_text", "written_vessels",
]  # fmt: skip
