"""Quality as written to a flag: words, OPC classic bytes, OPC UA status codes."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from nightgauge.streams.samples import flag_places
from nightgauge.streams.words import Words
from nightgauge.vocabulary.flags import BAD, GOOD, UNCERTAIN

Codes = Literal["opc_classic", "opc_ua"]

_WORD = re.compile(r"(good|uncertain|bad)(?![a-z])", re.IGNORECASE)
_STATUS_NAME = re.compile(r"(Good|Uncertain|Bad)(?=[A-Z])")
_NUMBER = re.compile(r"([+-]?[0-9]{1,12})(?:[.,]0*)?")
_HEX = re.compile(r"0[xX][0-9a-fA-F]{1,12}")


@dataclass(frozen=True)
class Verdict:
    """What one quality text means."""

    flag: str
    is_known: bool = True


_UNKNOWN = Verdict(UNCERTAIN, is_known=False)


def verdict_of(text: str, codes: Codes) -> Verdict:
    """Return the flag of one quality text; one that nobody knows is uncertain.

    Notes
    -----
    OPC classic: the low byte decides (the high byte is the vendor's); 192 up good, 64 to 191 uncertain,
    below bad. OPC UA: severity in bits 31-30, 00 good, 01 uncertain, 10 and 11 bad; OPC 10000-4, StatusCode.

    Examples
    --------
    >>> verdict_of("Good", "opc_classic").flag, verdict_of("2147483648", "opc_ua").flag
    ('good', 'bad')

    """
    word = text.strip()
    if not word:
        return Verdict(GOOD)
    if match := _WORD.match(word) or _STATUS_NAME.match(word):
        return Verdict(match.group(1).lower())
    number = _number(word)
    if number is None:
        return _UNKNOWN
    return _classic(number) if codes == "opc_classic" else _ua(number)


def _number(word: str) -> int | None:
    if match := _NUMBER.fullmatch(word):
        return int(match.group(1))
    return int(word, 16) if _HEX.fullmatch(word) else None


def _classic(code: int) -> Verdict:
    if not 0 <= code < 1 << 16:
        return _UNKNOWN
    low = code & 0xFF
    return Verdict(GOOD if low >= 192 else UNCERTAIN if low >= 64 else BAD)


def _ua(code: int) -> Verdict:
    if not -(1 << 31) <= code < 1 << 32:
        return _UNKNOWN
    severity = (code & 0xFFFFFFFF) >> 30  # a negative number is the same 32 bits read as signed
    return Verdict((GOOD, UNCERTAIN, BAD, BAD)[severity])


def flags_of(words: Words, codes: Codes) -> tuple[npt.NDArray[np.uint8], Mapping[str, str]]:
    """Return the place of each row's flag among the flags, and the texts nobody knows: as they came and as told."""
    verdicts = [verdict_of(text, codes) for text in words.texts]
    unknown = {text: text.strip() for text, verdict in zip(words.texts, verdicts, strict=True) if not verdict.is_known}
    places = flag_places([verdict.flag for verdict in verdicts])
    if len(set(places.tolist())) == 1:
        return np.broadcast_to(places[0], len(words.place)), unknown
    return places[words.place], unknown


def count_unknown(words: Words, unknown: Mapping[str, str]) -> dict[str, int]:
    """Return how many rows each text nobody knows stands in, as it is told."""
    counts: dict[str, int] = {}
    for written, count in zip(words.texts, words.counts().tolist(), strict=True):
        if written in unknown and count:
            counts[unknown[written]] = counts.get(unknown[written], 0) + count
    return counts
