"""What a speaker says is not so, or is past and over.

After W. W. Chapman and others, "A simple algorithm for identifying negated findings and diseases in discharge
summaries", Journal of Biomedical Informatics 34 (2001) 301-310: a negating word reaches the words after it
until something ends its clause (method from memory; the word lists are our own). In doubt a word is not
negated, for what is heard falsely is marked misread with one key, and what is missed may hurt someone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from triage.inputs.word_forms import Said, word_set

REACH = 6
"""Words that a "no" reaches at most; each next one of a list is reached anew."""

MOST_REACHED = 40
"""Words and stops that a whole list has at most."""

MOST_OF_A_LIST = 2
"""Words an item of a list may have: "no smoke, burning smell or sparks"."""

OVER = -1
"""Stands for the word that denies, where a clause is past and over."""


_NO = word_set(
    """
    no without zero neither nor none nothing nothings any nowhere not never nobody nobodys noone cant cannot
    dont doesnt didnt isnt wasnt arent werent hasnt havent hadnt wont aint couldnt wouldnt nope
    sin ni ningun ninguna ninguno tampoco cero nada nadie nunca jamas
    """
)
_NOT_A_NO = word_set(
    """
    stop stops stopped stopping quit quits only joke joking kidding know knows sure longer doubt idea
    deja dejan dejo para paran solo solamente broma bromeo
    """
)
"""After these a "no" denies nothing: "will not stop smoking", "no deja de echar humo", "I don't know"."""

_DEGREE = word_set(
    """
    big bad huge much very really strong deep too that serious muy tan mucho mucha muchos muchas fuerte gran
    grande grave honda hondo tanto tanta
    """
)
"""A "no" to these says how much, not whether: "not a big shock", "no es muy honda la cortada"."""

_LITTLE = word_set("a an the so is it its es esta fue era una un la el real")
_I_KNOW = word_set("si que como donde cuando por de cual bien exactamente pero y")
"""After "no se", when it is "no sé", I don't know, and not "no se mojó", it did not get wet."""

_ENDS = word_set(
    """
    but however except though although because since then theres there so now just only if when and
    pero sino aunque porque entonces ahora ahorita cuando si y hay ay ai nomas solo solamente simplemente puro
    """
)
_THERE_IS = word_set("hay ay ai")
_OR = word_set("or nor o u ni")
_CLAUSE = word_set(
    """
    there theres is it its i we he she they was were are has have had got gets coming comes came see saw
    smells hay sale salen esta estan es me se le nos huele sabe echa tiene tengo vi veo siento
    the el la los las my mi
    """
)
_ALONE = word_set("no none nope nada ninguno")

_PAST = frozenset(
    {
        ("last", "year"),
        ("last", "summer"),
        ("last", "winter"),
        ("last", "spring"),
        ("last", "fall"),
        ("last", "month"),
        ("years", "ago"),
        ("months", "ago"),
        ("old", "machine"),
        ("ano", "pasado"),
        ("verano", "pasado"),
        ("invierno", "pasado"),
        ("mes", "pasado"),
        ("anos", "atras"),
        ("maquina", "vieja"),
        ("maquina", "anterior"),
    }
)
_NO_MORE = ("no", "hay")
_SETTLED = word_set(
    """
    fixed changed replaced repaired over away care since none gone solved cleared
    cambio cambiaron arreglo arreglaron reparo repararon llevaron quito quitaron resolvio
    """
)
_AGAIN = word_set("again still otra sigue siguen todavia aun now ahora ahorita hoy today tambien too")


def denied_by(words: Sequence[Said]) -> Mapping[int, frozenset[int]]:
    """Index of a word -> the indexes of the words that deny it; `OVER` where it is past and over."""
    found: dict[int, set[int]] = {}
    for index, word in enumerate(words):
        if word.plain in _NO and not _denies_nothing(words, index):
            for reached in _reached(words, index):
                found.setdefault(reached, set()).add(index)
    for reached, by in (*_answered_no(words), *((index, OVER) for index in _over(words))):
        found.setdefault(reached, set()).add(by)
    return {index: frozenset(by) for index, by in found.items()}


def _denies_nothing(words: Sequence[Said], index: int) -> bool:
    after = [word.plain for word in words[index + 1 : index + 4]]
    if not after:
        return False
    if after[0] in _NOT_A_NO or (index and words[index - 1].plain == "ya" and words[index].plain == "no"):
        return True
    if after[0] == "se" and (words[index + 1].accented or len(after) == 1 or not after[1][0].isalnum()):
        return words[index].plain == "no"
    if after[0] == "se" and after[1] in _I_KNOW:
        return True
    meant = next((plain for plain in after if plain not in _LITTLE), "")
    return meant in _DEGREE and words[index].plain in ("no", "not", "isnt", "wasnt", "aint")


def _reached(words: Sequence[Said], start: int) -> set[int]:
    reached: set[int] = set()
    left = REACH
    index = start + 1
    while index < min(len(words), start + MOST_REACHED) and left:
        word = words[index]
        if word.plain in _OR and reached and not _starts_clause(words, index + 1):
            left = REACH  # the next of a list: "no smoke, smell or sparks"
        elif word.plain == "," and reached and _list_goes_on(words, index + 1):
            left = REACH
        elif word.plain in ("anymore", "longer"):
            return set()
        elif word.plain in _THERE_IS and index == start + 1:
            pass
        elif not word.is_word or word.plain in _ENDS:
            break
        else:
            reached.add(index)
            left -= 1
        index += 1
    return reached


def _starts_clause(words: Sequence[Said], index: int) -> bool:
    return any(word.plain in _CLAUSE for word in words[index : index + 2])


def _list_goes_on(words: Sequence[Said], index: int) -> bool:
    """Whether short items follow, up to an "or"."""
    length = 0
    for word in words[index : index + MOST_REACHED]:
        if word.plain in _OR:
            return True
        length = 0 if word.plain == "," else length + 1
        if length > MOST_OF_A_LIST or word.plain in _ENDS or word.plain in _CLAUSE:
            return False
        if not word.is_word and word.plain != ",":
            return False
    return False


def _answered_no(words: Sequence[Said]) -> Iterator[tuple[int, int]]:
    """ "Smoke? No." and "humo: no": a "no" that stands alone behind what it answers."""
    for index, word in enumerate(words):
        alone = index + 1 == len(words) or not words[index + 1].is_word
        asked = index >= 2 and words[index - 1].plain.startswith(("?", ":"))
        if word.plain in _ALONE and alone and asked:
            back = index - 2
            while back >= 0 and words[back].is_word:
                yield back, index
                back -= 1


def _over(words: Sequence[Said]) -> Iterator[int]:
    """The words of clauses that are long past, when what was the matter was settled and is not back."""
    plain = [word.plain for word in words]
    pairs = list(pairwise(plain))
    settled = max(
        (
            index
            for index, word in enumerate(plain)
            if word in _SETTLED or pairs[index : index + 1] == [_NO_MORE]
        ),
        default=-1,
    )
    for start, end in _clauses(words):
        past = not _PAST.isdisjoint(pairs[start:end]) and _AGAIN.isdisjoint(plain[start:end])
        if past and settled >= start:
            yield from range(start, end)


def _clauses(words: Sequence[Said]) -> Iterator[tuple[int, int]]:
    start = 0
    for index, word in enumerate(words):
        if not word.is_word:
            yield start, index
            start = index + 1
    yield start, len(words)
