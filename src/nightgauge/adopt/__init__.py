"""Drafting a field from exports nobody has described: what each tag is, which belong together, what they tell."""

from nightgauge.adopt.guesses import Guess, Seen, guesses_of, seen_of
from nightgauge.adopt.readings import Readings
from nightgauge.adopt.states import number_states

__all__ = ["Guess", "Readings", "Seen", "guesses_of", "number_states", "seen_of"]
