"""What `nightgauge check` says of a field folder that is right: what is odd, what is missing, what can be judged."""

from nightgauge.field.needs import Judgeable, Missing, judgeable, missing_of
from nightgauge.field.oddities import warnings_of
from nightgauge.field.priced import missing_for_prices

__all__ = ["Judgeable", "Missing", "judgeable", "missing_for_prices", "missing_of", "warnings_of"]
