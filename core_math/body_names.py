# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Reading bone names: the side, the body words, the number, and what the bone is for in the rig."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from .body_words import (
    CENTRE_WORDS,
    GLUED_WORDS,
    MODIFIER_WORDS,
    OTHER_ORDER,
    OTHER_WORDS,
    PART_WORDS,
    ROLE_WORDS,
    SHORT_SIDES,
    SIDE_WORDS,
)
from .measures.pieces import Steps, run_steps

_TOKEN = re.compile(r"[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-z]+|[A-Z]+|[0-9]+|[^\W\d_A-Za-z]+")
_NAMESPACE = re.compile(r"[:|]")
_VERTEBRA = re.compile(r"[LTC]1?[0-9]$")
_LONGEST_PREFIX = 6
_KNOWN = frozenset((*PART_WORDS, *OTHER_WORDS, *MODIFIER_WORDS))
_LONGEST = max(len(word) for word in _KNOWN)
_PLAIN = {"ß": "ss", "ø": "o", "Ø": "O", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ł": "l"}

# The most telling word of a name wins: a finger over the hand it sits on, a foot over its leg.
_TELLING = (
    "thumb index middle ring pinky finger palm toe ball ankle foot paw knee shin thigh hipjoint "
    "hip leg legjp hand wrist elbow forearm upperarm clavicle shoulder arm head neck chest "
    "upperbody abdomen spine waist torso hips sidedhand centre root"
).split()
_DIGITS = frozenset("thumb index middle ring pinky finger palm".split())
_VAGUE_DIGITS = frozenset("middle mid index ring little small medio".split())
LIMB_CONCEPTS = frozenset(
    "toe ball ankle foot paw knee shin thigh leg legjp hip hand wrist elbow forearm upperarm arm "
    "clavicle shoulder".split()
)
_HALVES = {
    ("upper", "arm"): "upperarm",
    ("lower", "arm"): "forearm",
    ("upper", "leg"): "thigh",
    ("lower", "leg"): "shin",
    ("upper", "legjp"): "thigh",
    ("lower", "legjp"): "shin",
    ("upper", "torso"): "upperbody",
    ("lower", "torso"): "hips",
}

# What each word may stand for, and how surely, when the bone is on one side of the body ...
_SIDED: Mapping[str, Mapping[str, float]] = {
    "thigh": {"thigh": 1.0},
    "hip": {"thigh": 0.75},
    "hipjoint": {"thigh": 0.3},
    "leg": {"thigh": 0.62, "shin": 0.6},
    "legjp": {"thigh": 0.6, "shin": 0.3, "foot": 0.5},
    "shin": {"shin": 1.0},
    "knee": {"shin": 0.9},
    "ankle": {"foot": 0.95},
    "foot": {"foot": 1.0, "toe": 0.3},  # below an ankle, the "foot" is the ball
    "paw": {"foot": 0.6, "hand": 0.3},
    "ball": {"toe": 0.95},
    "toe": {"toe": 1.0},
    "clavicle": {"shoulder": 1.0},
    "shoulder": {"shoulder": 0.85, "upper_arm": 0.6},
    "upperarm": {"upper_arm": 1.0},
    "arm": {"upper_arm": 0.9, "forearm": 0.25},
    "forearm": {"forearm": 1.0},
    "elbow": {"forearm": 0.9},
    "wrist": {"hand": 0.95},
    "hand": {"hand": 1.0},
    "sidedhand": {"hand": 0.95},
    "palm": {"palm": 1.0},
    **{digit: {digit: 1.0} for digit in ("thumb", "index", "middle", "ring", "pinky", "finger")},
}
# ... and when it is in the middle.
_MIDDLE: Mapping[str, Mapping[str, float]] = {
    "root": {"root": 1.0},
    "sidedhand": {"root": 0.9},
    "centre": {"root": 0.8, "hips": 0.4},
    "hips": {"hips": 1.0},
    "hip": {"hips": 0.95},
    "waist": {"spine": 0.7, "hips": 0.4},
    "abdomen": {"spine": 0.9},
    "spine": {"spine": 1.0, "chest": 0.5},
    "chest": {"chest": 1.0, "spine": 0.5},
    "torso": {"spine": 0.6, "chest": 0.6, "hips": 0.3, "root": 0.3},
    "upperbody": {"chest": 0.7, "spine": 0.8},
    "neck": {"neck": 1.0},
    "head": {"head": 1.0},
}
_NUMBERED = {
    "arm": {"upper_arm": 0.8, "forearm": 0.55, "hand": 0.3},
    "leg": {"thigh": 0.62, "shin": 0.6, "foot": 0.35},
}


NAMES_AT_A_TIME = 200
"""Names that are read between two pauses."""

_NO_SCORES: Mapping[str, float] = {}


@dataclass(frozen=True, slots=True)
class NameReading:
    """What a bone's name tells.

    Attributes
    ----------
    name : str
    side : str
        "L", "R" or "".
    kind : str
        "part", "front" (front leg of a four-footed body), one of the words' other kinds
        ("face", "strand", "twist", "tip", ...), or "" when no word is known.
    concept : str
        The most telling body word's meaning.
    scores : mapping of part to float
        How surely it names each part, sides left off; "finger" and "palm" among them.
    numbers : tuple of str
        Groups of digits as written.
    roles : frozenset of str
        What the bone is for: "deform", "original", "mechanism", "control", "ik", "fk" ...
    stem : tuple of str
        The words left when side and roles are taken off; bones of one joint share it.
    """

    name: str
    side: str = ""
    kind: str = ""
    concept: str = ""
    scores: Mapping[str, float] = field(default_factory=dict)
    numbers: tuple[str, ...] = ()
    roles: frozenset[str] = frozenset()
    stem: tuple[str, ...] = ()


def read_names(names: Sequence[str]) -> list[NameReading]:
    """Read all bone names of one armature together; see `iterate_names`."""
    return run_steps(iterate_names(names))


def iterate_names(names: Sequence[str]) -> Steps[list[NameReading]]:
    """Read all bone names of one armature together, with pauses.

    Together, because a lone letter is a side only when other names carry its counterpart.
    """
    tokens = _drop_prefix([split_name(name) for name in names])
    yield
    lowered = Counter(tuple(token.lower() for token in row) for row in tokens)
    short = _find_short_sides(lowered)
    yield
    read: list[NameReading] = []
    for name, row in zip(names, tokens, strict=True):
        read.append(_read(name, row, lowered, short))
        if not len(read) % NAMES_AT_A_TIME:
            yield
    return read


def _drop_prefix(tokens: list[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Take off the words most names begin with: the character's or the system's name."""
    for _ in range(_LONGEST_PREFIX):
        first = Counter(row[0].lower() for row in tokens if len(row) > 1)
        if not first:
            break
        word, count = first.most_common(1)[0]
        bodily = PART_WORDS.get(word, "root") != "root" or word in OTHER_WORDS
        if bodily or word in SIDE_WORDS or word in ROLE_WORDS or count < max(5, 0.6 * len(tokens)):
            break
        tokens = [row[1:] if len(row) > 1 and row[0].lower() == word else row for row in tokens]
    return tokens


@lru_cache(maxsize=8192)
def split_name(name: str) -> tuple[str, ...]:
    """Split a bone name into words and numbers; a namespace before ':' or '|' is dropped."""
    name = _NAMESPACE.split(name)[-1] or name
    plain = []
    for char in unicodedata.normalize("NFKC", name):
        base = unicodedata.normalize("NFD", char)[0]
        plain.append(_PLAIN.get(char, base if base.isascii() else char))
    words: list[str] = []
    for token in _TOKEN.findall("".join(plain)):
        words.extend(_cut_glued(token))
    return tuple(words)


def flip_side(name: str) -> str | None:
    """Return the bone name of the other side, or None when the name carries no side."""
    for match in reversed(list(_TOKEN.finditer(name))):
        word = match.group()
        if not word.isascii():
            continue
        pieces = _cut_glued(word)
        if "".join(pieces).lower() != word.lower():
            continue
        for index in reversed(range(len(pieces))):
            other = _OTHER_SIDE.get(pieces[index].lower())
            if other:
                old = pieces[index]
                styled = other.upper() if old.isupper() else other
                styled = styled.capitalize() if old.istitle() and len(old) > 1 else styled
                changed = "".join((*pieces[:index], styled, *pieces[index + 1 :]))
                return name[: match.start()] + changed + name[match.end() :]
    for sign in "左右":
        if sign in name:
            return name.replace(sign, _OTHER_SIDE[sign], 1)
    return None


def _pair_sides() -> dict[str, str]:
    pairs = (
        "l r,left right,lt rt,lft rgt,links rechts,linke rechte,linker rechter,gauche droite,"
        "izquierda derecha,izquierdo derecho,izq der,izqda dcha,izqdo dcho,sinistra destra,"
        "sinistro destro,sx dx,esquerda direita,esquerdo direito,esq dir,hidari migi,lewa prawa,"
        "lewy prawy,左 右"
    )
    table: dict[str, str] = {}
    for pair in pairs.split(","):
        left, right = pair.split()
        table[left], table[right] = right, left
    return table


_OTHER_SIDE = _pair_sides()


@lru_cache(maxsize=8192)
def _cut_glued(token: str) -> tuple[str, ...]:
    """Cut a word such as "lefthand", "Rarm" or "upperarm" into the words it is made of."""
    word = token.lower()
    if (
        word in _KNOWN
        or word in SIDE_WORDS
        or word in ROLE_WORDS
        or word.isdigit()
        or len(word) < 3 - (not word.isascii())
    ):
        return (token,)
    for start in (0, 1):
        # One letter glued on ("Larm", "rfoot") is a side only if the rest is a known word.
        if start and word[0] not in "lr":
            break
        pieces = _cover(word, start)
        if pieces:
            cuts = [token[a:b] for a, b in pieces]
            return tuple([token[:1], *cuts] if start else cuts)
    if word[-1] in "lr":
        pieces = _cover(word[:-1], 0)
        if pieces and len(word) > 4:
            return (*(token[a:b] for a, b in pieces), token[-1:])
    return (token,)


def _cover(word: str, start: int) -> list[tuple[int, int]]:
    """Cover word[start:] by known words, longest first; empty when it cannot be done."""
    if start == len(word):
        return []
    best: list[tuple[int, int]] = []
    for end in range(min(len(word), start + _LONGEST), start, -1):
        if word[start:end] in GLUED_WORDS:
            rest = _cover(word, end)
            if end == len(word) or rest:
                best = [(start, end), *rest]
                break
    return best


def _find_short_sides(lowered: Mapping[tuple[str, ...], int]) -> Mapping[str, str]:
    """Find which language's single letters tell the sides, if any ("main.G" and "main.D")."""
    best: Mapping[str, str] = {}
    most = max(2, _count_pairs(lowered, "l", "r") + 1)
    for letters in SHORT_SIDES:
        left, right = letters
        count = _count_pairs(lowered, left, right)
        if count >= most:
            best, most = letters, count + 1
    return best


def _count_pairs(lowered: Mapping[tuple[str, ...], int], left: str, right: str) -> int:
    return sum(
        1
        for row in lowered
        for index, token in enumerate(row)
        if token == left and (*row[:index], right, *row[index + 1 :]) in lowered
    )


def _read(
    name: str,
    row: tuple[str, ...],
    lowered: Mapping[tuple[str, ...], int],
    short: Mapping[str, str],
) -> NameReading:
    words = tuple(token.lower() for token in row)
    if len(row) == 2 and _VERTEBRA.match("".join(row)):
        words = ("neck" if words[0] == "c" else "spine", words[1])
    side, at = _find_side(words, lowered, short)
    return NameReading(name, side, *_interpret(words, at))


@lru_cache(maxsize=8192)
def _interpret(
    words: tuple[str, ...], side_at: int
) -> tuple[str, str, Mapping[str, float], tuple[str, ...], frozenset[str], tuple[str, ...]]:
    """Return kind, concept, scores, numbers, roles and stem of a name's words."""
    groups = _group_words(words, side_at)
    concepts: list[str] = []
    modifiers: set[str] = set()
    others: set[str] = set()
    roles: set[str] = set()
    numbers: list[str] = []
    stem: list[str] = []
    for word in groups:
        if word.isdigit():
            numbers.append(word)
        elif word in ROLE_WORDS and not (word in PART_WORDS and len(groups) == 1):
            roles.add(ROLE_WORDS[word])
            continue
        elif word in PART_WORDS:
            concepts.append(PART_WORDS[word])
        elif word in OTHER_WORDS:
            others.add(OTHER_WORDS[word])
        elif word in MODIFIER_WORDS:
            modifiers.add(MODIFIER_WORDS[word])
        if not (word in CENTRE_WORDS and len(word) == 1):
            stem.append(word)
    if "back" in groups and LIMB_CONCEPTS.intersection(concepts):
        concepts = [concept for concept in concepts if concept != "spine"]  # a "back leg"
    concept = _choose_concept(concepts, modifiers, groups)
    kind, scores = "", _NO_SCORES
    if others:
        kind = min(others, key=OTHER_ORDER.index)
    elif concept:
        kind = "front" if concept in LIMB_CONCEPTS and "front" in modifiers else "part"
        scores = _SIDED.get(concept, _NO_SCORES)
        if side_at < 0:
            scores = _MIDDLE.get(concept, scores)
        if numbers and concept in _NUMBERED:
            scores = _NUMBERED[concept]
    return kind, concept, scores, tuple(numbers), frozenset(roles), tuple(stem) or groups


def _group_words(words: tuple[str, ...], side_at: int) -> tuple[str, ...]:
    """Join neighbouring words that are one word of the dictionary; leave the side out."""
    joined: list[str] = []
    index = 0
    while index < len(words):
        if index == side_at:
            index += 1
            continue
        for count in (3, 2):
            piece = words[index : index + count]
            whole = "".join(piece)
            if (
                len(piece) == count
                and (whole in PART_WORDS or whole in OTHER_WORDS)
                and not index < side_at < index + count
                and min(map(len, piece)) > 1
            ):
                joined.append(whole)
                index += count
                break
        else:
            joined.append(words[index])
            index += 1
    return tuple(joined)


def _choose_concept(concepts: list[str], modifiers: set[str], groups: tuple[str, ...]) -> str:
    if not concepts:
        return ""
    found = set(concepts)
    bodily = found - _DIGITS - {"hand", "arm", "sidedhand", "root", "centre"}
    if bodily and found & _DIGITS:
        # "spine_middle", "index_root": a vague word beside a clear one is no finger.
        certain = {PART_WORDS[w] for w in groups if w in PART_WORDS and w not in _VAGUE_DIGITS}
        found = certain or found
        if found & {"toe", "foot"}:
            found -= _DIGITS  # toes are numbered like fingers
    if "finger" in found and len(found & _DIGITS) > 1:
        found.discard("finger")
    if "palm" in found and "thumb" not in found:
        return "palm"
    for (half, concept), whole in _HALVES.items():
        if half in modifiers and concept in found:
            found.discard(concept)
            found.add(whole)
    return next(concept for concept in _TELLING if concept in found)


def _find_side(
    words: tuple[str, ...], lowered: Mapping[tuple[str, ...], int], short: Mapping[str, str]
) -> tuple[str, int]:
    """Return the side a name tells and the place of the word that tells it (-1 for none)."""
    found: list[tuple[tuple[bool, bool, int], str, int]] = []
    for index, word in enumerate(words):
        side = SIDE_WORDS.get(word) or short.get(word)
        if not side or (word == "links" and len(words) == 1):
            continue
        other = _OTHER_SIDE.get(word) or next((w for w in short if w != word), "")
        paired = (*words[:index], other, *words[index + 1 :]) in lowered
        found.append(((paired, len(word) > 1 or not word.isascii(), index), side, index))
    if not found:
        return "", -1
    _, side, at = max(found)
    return side, at
