"""Which tags belong to one vessel: by the numbers and words of their names, confirmed or corrected by behaviour."""

from collections import Counter, defaultdict
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from nightgauge.adopt.names import Name, plain
from nightgauge.adopt.readings import Bools, Floats

STRONG = 12.0
"""Two tags move together beyond doubt, in multiples of chance. Chance is measured a pair at a time, so its own scatter
and the largest of thousands of pairs have to be allowed for: of pairs of different vessels of simulated fleets one in
a thousand reached 11, and at 9 vessels grow together."""
WEAK = 6.0
"""Two tags may move together. Below, a tag is said to move with nothing."""
_CLEAR = 1.4
"""A tag is placed by a weak bond only if it is so many times as strong as that to any other vessel. House choice."""
_USEFUL = 0.35
"""Names tell the vessel where so large a share of the tags have their closest neighbour under the same key, beyond
chance; random names reach none of it. House choice."""
_ELSEWHERE, _FURTHER = 1.6, 3.0
"""A name is contradicted where the tag's closest neighbour elsewhere is so much closer than beyond doubt, and so many
times as close as any of the vessel it is named after. House choices."""
_TWICE = 1.2
"""The same where two tags there are close. House choice."""
_LOOSE = 4.0
"""Below this a tag hangs on nothing; chance reaches 5 in one pair of a hundred of simulated fleets. House choice."""
_BY_NAME = 0.9
"""How sure a name alone is of the vessel. House choice."""
_MISLEAD = 0.02
"""Share of contradicted names from which names alone are no longer sure. House choice."""
_SURELY = 2.5
"""Behaviour alone is sure of a vessel where two tags of it are so much closer than beyond doubt. House choice."""
_COARSE = 0.3
"""What speaks against a key under which many stand: areas hold whole vessels, and are no vessels. House choice."""
_LONG_NUMBER = 5
"""Digits from which a number may hold a vessel's and a point's number in one. House choice."""

Key = Hashable


@dataclass(frozen=True)
class Placed:
    """Where one tag belongs."""

    vessel: int
    """Number of the group; -1 where nothing tells."""
    confidence: float
    why: str
    contradicts: str = ""
    """What its name says instead."""
    mate: int = -1
    """The tag it moves with, where that tells the vessel."""


@dataclass(frozen=True)
class Bonds:
    """What grouping goes by."""

    strength: Floats
    """(tags, tags), multiples of chance."""
    single: Mapping[str, Bools]
    """Kinds of which a vessel has few: for each the tags of it."""
    most: Mapping[str, int]
    """How many of each kind a vessel has at most."""
    movers: Bools
    """Tags that tell when water or oil leaves: of one vessel they move together or one of them is elsewhere."""


@dataclass(frozen=True)
class Keyed:
    """A name with what in it is the vessel's taken out."""

    key: Key | None
    """None where names of this form tell no vessel."""
    rest: Key
    """The name with a mark where the key was: tags of one signal often share it. Of use only with a key."""


def keys_of(names: Sequence[Name], strength: Floats) -> list[Keyed]:
    """Return the key that each name has for its vessel.

    Names of one form (how many numbers it has) share the rule which of their parts are the vessel's: the one under
    which those stand together that move together.
    """
    forms: dict[Hashable, list[int]] = defaultdict(list)
    for tag, name in enumerate(names):
        forms[_form(name)].append(tag)
    keyed = [Keyed(None, ())] * len(names)
    for tags in forms.values():
        offers = [_offers(names[tag]) for tag in tags]
        best, chosen = _USEFUL, ""
        for rule in dict.fromkeys(rule for offered in offers for rule in offered):
            keys = [offered[rule].key if rule in offered else None for offered in offers]
            useful = _usefulness(keys, tags, strength)
            if useful > best + 0.02:
                best, chosen = useful, rule
        for tag, offered in zip(tags, offers, strict=True):
            if chosen in offered:
                keyed[tag] = offered[chosen]
    _borrow(keyed, names)
    return keyed


def _borrow(keyed: list[Keyed], names: Sequence[Name]) -> None:
    """Give names of a form too rare to tell its rule a key that names of another form have."""
    known = {one.key for one in keyed if one.key is not None}
    for tag, one in enumerate(keyed):
        if one.key is None:
            keyed[tag] = next((offer for offer in _offers(names[tag]).values() if offer.key in known), one)


def _form(name: Name) -> Hashable:
    numbers = [part for part in name.parts if part.isdigit()]
    return (len(numbers), len(numbers) == 1 and len(numbers[0]) >= _LONG_NUMBER)


def _offers(name: Name) -> dict[str, Keyed]:
    """Return the keys that a name may have, by rule: all its places, all but one number, one number alone."""
    parts, places = name.parts, name.places
    numbers = [at for at in places if parts[at].isdigit()]
    chosen: dict[str, list[int]] = {"all": list(places), "numbers": numbers}
    for order, at in enumerate(numbers):
        chosen[f"without {order}"] = [other for other in places if other != at]
        chosen[f"only {order}"] = [at]
    offers = {rule: _keyed(parts, at) for rule, at in chosen.items() if at}
    for order, at in enumerate(numbers):
        if len(parts[at]) >= _LONG_NUMBER:
            for cut in (1, 2, 3):
                tail = (*parts[:at], "#", parts[at][-cut:], *parts[at + 1 :])
                offers[f"only {order} without {cut}"] = Keyed(parts[at][:-cut], tail)
    return offers


def _keyed(parts: Sequence[str], at: Sequence[int]) -> Keyed:
    key = tuple(dict.fromkeys(plain(parts[place]) for place in at))  # V101_PIT_101 says its number twice
    rest = tuple("#" if place in at else plain(part) for place, part in enumerate(parts))
    return Keyed(key, rest)


def _usefulness(keys: Sequence[Key | None], tags: Sequence[int], strength: Floats) -> float:
    """Return how far beyond chance tags have their closest neighbour under the same key; of two keys the finer."""
    inside = strength[np.ix_(tags, tags)]
    if len(tags) < 2:
        return 0.0
    closest = inside.argmax(axis=1)
    surely = np.flatnonzero(inside.max(axis=1) >= STRONG)
    counts = Counter(keys)
    chance = sum((count / len(tags)) ** 2 for count in counts.values())
    if len(surely) == 0:
        return 0.0
    hits = sum(keys[at] is not None and keys[at] == keys[closest[at]] for at in surely.tolist())
    if chance >= 1.0:
        return 0.0  # all under one key
    return float((hits / len(surely) - chance) / (1.0 - chance) - _COARSE * chance)


def grouped(names: Sequence[Name], keyed: Sequence[Keyed], bonds: Bonds) -> list[Placed]:
    """Return where each tag belongs.

    Parameters
    ----------
    names : sequence of Name
        By tag.
    keyed : sequence of Keyed
        By tag, from `keys_of`.
    bonds : Bonds
        How tags move together, and what one vessel can have.

    """
    by_key: dict[Key, int] = {}
    placed: list[Placed | None] = [None] * len(names)
    for tag, one in enumerate(keyed):
        if one.key is not None:
            group = by_key.setdefault(one.key, len(by_key))
            placed[tag] = Placed(group, _BY_NAME, "name")
    _confirm(placed, bonds, names)
    loose = [tag for tag, one in enumerate(placed) if one is None]
    _gather(placed, loose, _new(_members(placed)) + 1, bonds)
    return [one or Placed(-1, 0.0, "moves with nothing") for one in placed]


def _confirm(placed: list[Placed | None], bonds: Bonds, names: Sequence[Name]) -> None:
    """Confirm by behaviour what names say; move a tag whose behaviour says otherwise."""
    members = _members(placed)
    moved: dict[int, Placed] = {}
    confirmed = strangers = 0
    for tag, one in enumerate(placed):
        if one is None:
            continue
        own = [other for other in members[one.vessel] if other != tag]
        at_home = float(bonds.strength[tag, own].max()) if own else 0.0
        if at_home >= STRONG:
            placed[tag] = replace(one, confidence=0.97, why="name and behaviour")
            confirmed += 1
            continue
        there = _stranger(tag, at_home, members, bonds.strength, without=one.vessel)
        if there is not None:
            moved[tag] = replace(there, contradicts=f"moves with {names[there.mate].tag}")
        elif at_home < _LOOSE and bonds.movers[tag] and _hangs_together(own, bonds):
            strangers += 1
            moved[tag] = Placed(_new(members) + strangers, 0.6, "behaviour", "moves with nothing of it")
    if len(moved) > _MISLEAD * (confirmed + len(moved)):
        for tag, one in enumerate(placed):
            if one is not None and one.confidence == _BY_NAME:
                placed[tag] = replace(one, confidence=0.75, why="name, where some names mislead")
    for tag, one in moved.items():
        placed[tag] = one


def _stranger(
    tag: int, at_home: float, members: Mapping[int, list[int]], strength: Floats, without: int
) -> Placed | None:
    """Return where a tag belongs whose behaviour says another vessel than its name; None where it does not.

    Two tags of the other vessel leave no doubt. With one alone it may as well be the other that is misnamed: then the
    one moves that hangs less on the vessel of its name, and never surely.
    """
    home, away = _home_of(tag, members, strength, without)
    if away <= _FURTHER * at_home:
        return None
    mates = sorted(members[home], key=lambda other: -strength[tag, other])
    if len(mates) > 1 and strength[tag, mates[1]] >= STRONG:
        return Placed(home, 0.85, "behaviour", mate=mates[0]) if away >= _TWICE * STRONG else None
    settled = max((float(strength[mates[0], other]) for other in mates[1:]), default=0.0)
    is_moved = away >= _ELSEWHERE * STRONG and (settled >= STRONG or settled > max(_FURTHER * at_home, _LOOSE))
    return Placed(home, 0.7, "behaviour", mate=mates[0]) if is_moved else None


def _new(members: Mapping[int, list[int]]) -> int:
    return max(members, default=-1)


def _hangs_together(tags: Sequence[int], bonds: Bonds) -> bool:
    """Return whether some of these tags move together beyond doubt."""
    return len(tags) > 1 and float(bonds.strength[np.ix_(tags, tags)].max()) >= _ELSEWHERE * STRONG


def _members(placed: Sequence[Placed | None]) -> dict[int, list[int]]:
    members: dict[int, list[int]] = defaultdict(list)
    for tag, one in enumerate(placed):
        if one is not None and one.vessel >= 0:
            members[one.vessel].append(tag)
    return members


def _home_of(tag: int, members: Mapping[int, list[int]], strength: Floats, without: int = -1) -> tuple[int, float]:
    """Return the group that holds the closest neighbour of a tag, and how close it is."""
    best, home = 0.0, -1
    for group, inside in members.items():
        others = [other for other in inside if other != tag]
        if group != without and others and (closest := float(strength[tag, others].max())) > best:
            best, home = closest, group
    return home, best


def _gather(placed: list[Placed | None], loose: Sequence[int], first: int, bonds: Bonds) -> None:
    """Group tags whose names tell nothing: strongest bonds first, then what hangs on by a weak one."""
    groups = _merged(loose, bonds)
    number = first
    for tags in groups:
        if len(tags) > 1:
            for tag in tags:
                own = np.sort(bonds.strength[tag, [other for other in tags if other != tag]])[::-1]
                is_sure = own.size > 1 and own[1] >= _SURELY * STRONG
                placed[tag] = Placed(number, 0.85 if is_sure else 0.7, "behaviour")
            number += 1
    for tags in groups:
        if len(tags) == 1:
            tag = tags[0]
            placed[tag] = _hung_on(tag, placed, bonds) or Placed(number, 0.4, "moves with nothing")
            number += placed[tag].vessel == number  # type: ignore[union-attr]


def _hung_on(tag: int, placed: Sequence[Placed | None], bonds: Bonds) -> Placed | None:
    members = {group: tags for group, tags in _members(placed).items() if _fits([tag], tags, bonds)}
    home, closest = _home_of(tag, members, bonds.strength)
    if closest < WEAK:
        return None
    _, second = _home_of(tag, members, bonds.strength, without=home)
    return Placed(home, 0.5, "moves with it a little") if closest > _CLEAR * second else None


def _merged(tags: Sequence[int], bonds: Bonds) -> list[list[int]]:
    """Return groups of tags, made by joining the closest first as long as one vessel can have all of both."""
    inside = np.triu(bonds.strength[np.ix_(tags, tags)], 1)
    left, right = np.nonzero(inside >= STRONG)
    order = np.argsort(-inside[left, right], kind="stable")
    group_of = {tag: [tag] for tag in tags}
    for pair in order.tolist():
        one, other = group_of[tags[left[pair]]], group_of[tags[right[pair]]]
        if one is other or not _fits(one, other, bonds) or not _close(one, other, bonds.strength):
            continue
        one.extend(other)
        for tag in other:
            group_of[tag] = one
    return list({id(group): sorted(group) for group in group_of.values()}.values())


def _close(one: Sequence[int], other: Sequence[int], strength: Floats) -> bool:
    """Return whether most of the smaller group hangs on the other, not one lucky pair."""
    between = strength[np.ix_(one, other)]
    fewer = between.max(axis=1) if len(one) <= len(other) else between.max(axis=0)
    return float(np.median(fewer)) >= 0.7 * STRONG


def _fits(one: Sequence[int], other: Sequence[int], bonds: Bonds) -> bool:
    return all(
        int(bonds.single[kind][list(one)].sum() + bonds.single[kind][list(other)].sum()) <= most
        for kind, most in bonds.most.items()
    )
