"""What a speaker says is not so, or is past and over.

After W. W. Chapman and others, "A simple algorithm for identifying negated findings and diseases in discharge
summaries", Journal of Biomedical Informatics 34 (2001) 301-310: a negating word reaches the words after it
until something ends its clause (method from memory; the word lists are our own). In doubt a word is not
negated, for what is heard falsely is marked misread with one key, and what is missed may hurt someone.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from triage.inputs import negation_words as words_of
from triage.inputs.word_forms import Said

REACH = 6
"""Words that a "no" reaches at most; each next one of a list is reached anew."""

MOST_REACHED = 40
"""Words and stops that a whole list has at most."""

MOST_OF_A_LIST = 2
"""Words an item of a list may have: "no smoke, burning smell or sparks"."""

OVER = -1
"""Stands for the word that denies, where a clause is past and over."""


def denied_by(words: Sequence[Said]) -> Mapping[int, frozenset[int]]:
    """Index of a word -> the indexes of the words that deny it; `OVER` where it is past and over."""
    found: dict[int, set[int]] = {}
    for index, word in enumerate(words):
        if word.plain in words_of.NO and not _denies_nothing(words, index):
            for reached in _reached(words, index):
                found.setdefault(reached, set()).add(index)
    for reached, by in (*_answered_no(words), *((index, OVER) for index in _over(words))):
        found.setdefault(reached, set()).add(by)
    return {index: frozenset(by) for index, by in found.items()}


def _denies_nothing(words: Sequence[Said], index: int) -> bool:
    after = [word.plain for word in words[index + 1 : index + 4]]
    if not after:
        return False
    no, before = words[index].plain, words[index - 1].plain if index else ""
    meant = next((plain for plain in after if plain not in words_of.LITTLE), "")
    if (
        after[0] in words_of.NOT_A_NO
        or meant in words_of.NOT_A_NO
        or (before == "ya" and no == "no")
        or before in words_of.HARDLY
        or after[:2] == ["more", "than"]
        or (no in words_of.ASKING and after[0] in words_of.ASKED)
    ):
        return True
    if (
        no in words_of.BARE
        and after[0] in words_of.RATHER
        and not (after[0] in ("it", "there") and after[1:2] != ["is"])
    ):
        return True
    if after[0] == "se" and (words[index + 1].accented or len(after) == 1 or not after[1][0].isalnum()):
        return no == "no"
    if after[0] == "se" and after[1] in words_of.I_KNOW:
        return True
    if no in words_of.CANNOT and (
        words_of.PERCEIVE.isdisjoint(after) or not words_of.WHETHER.isdisjoint(after)
    ):
        return True
    if no in words_of.DOUBLE and _denied_before(words, index):
        return True
    return (meant in words_of.DEGREE and no in ("no", "not", "isnt", "wasnt", "aint")) or _taken_back(
        words, index
    )


def _denied_before(words: Sequence[Said], index: int) -> bool:
    """Whether another "no" stands before this one in its clause."""
    for word in reversed(words[max(0, index - REACH) : index]):
        if not word.is_word or word.plain in words_of.ENDS:
            return False
        if word.plain in words_of.NO:
            return True
    return False


def _taken_back(words: Sequence[Said], index: int) -> bool:
    """Whether "until", "only when", "never before" or the like turns a "no" round within its clause."""
    for at in range(index + 1, min(len(words), index + 1 + words_of.MOST_SCANNED)):
        word = words[at].plain
        follows = words[at + 1].plain if at + 1 < len(words) else "."
        if word in words_of.EXCEPT or (word in words_of.ONLY and follows in words_of.WHEN):
            return True
        if word in words_of.TODAY and follows in ("si", "it"):
            return True
        if word in words_of.BEFORE and (
            words[index].plain in words_of.NEVER or follows in words_of.ENDS or not follows[0].isalnum()
        ):
            return True
        if word in words_of.NO or not (words[at].is_word or word == ","):
            return False
    return False


def _reached(words: Sequence[Said], start: int) -> set[int]:
    reached: set[int] = set()
    left = REACH
    index = start + 1
    while index < min(len(words), start + MOST_REACHED) and left:
        word = words[index]
        if word.plain in words_of.OR and reached and not _starts_clause(words, index + 1):
            left = REACH  # the next of a list: "no smoke, smell or sparks"
        elif word.plain == "," and reached and _list_goes_on(words, index + 1):
            left = REACH
        elif word.plain in ("anymore", "longer"):
            return set()
        elif word.plain in words_of.THERE_IS and index == start + 1:
            pass
        elif not word.is_word or word.plain in words_of.ENDS or _next_clause(words, start, index):
            break
        else:
            reached.add(index)
            left -= 1
            if word.plain in words_of.SPENT and not _goes_on(words, index + 1):
                break
        index += 1
    return reached


def _goes_on(words: Sequence[Said], index: int) -> bool:
    return index < len(words) and words[index].plain in words_of.OR


def _next_clause(words: Sequence[Said], start: int, index: int) -> bool:
    """Whether a clause of its own starts here, with no stop before it: "it won't start I smell burning"."""
    word = words[index].plain
    subject = word in words_of.SUBJECT or (
        word == "it" and index + 1 < len(words) and words[index + 1].plain in words_of.IT
    )
    if not subject and word not in words_of.VERB:
        return False
    between = [each.plain for each in words[start + 1 : index]]
    told = any(plain not in words_of.CLITIC and plain not in words_of.LITTLE for plain in between)
    return told and words_of.OF_A_CLAUSE.isdisjoint(between)


def _starts_clause(words: Sequence[Said], index: int) -> bool:
    return any(word.plain in words_of.CLAUSE for word in words[index : index + 2])


def _list_goes_on(words: Sequence[Said], index: int) -> bool:
    """Whether short items follow, up to an "or"."""
    length = 0
    for word in words[index : index + MOST_REACHED]:
        if word.plain in words_of.OR:
            return True
        length = 0 if word.plain == "," else length + 1
        if length > MOST_OF_A_LIST or word.plain in words_of.ENDS or word.plain in words_of.CLAUSE:
            return False
        if not word.is_word and word.plain != ",":
            return False
    return False


def _answered_no(words: Sequence[Said]) -> Iterator[tuple[int, int]]:
    """ "Smoke? No." and "humo: no": a "no" that stands alone behind what it answers."""
    for index, word in enumerate(words):
        alone = index + 1 == len(words) or not words[index + 1].is_word
        asked = index >= 2 and words[index - 1].plain.startswith(("?", ":"))
        if word.plain in words_of.ALONE and alone and asked:
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
            if word in words_of.SETTLED or pairs[index : index + 1] == [words_of.NO_MORE]
        ),
        default=-1,
    )
    for start, end in _clauses(words):
        past = not words_of.PAST.isdisjoint(pairs[start:end]) and words_of.AGAIN.isdisjoint(plain[start:end])
        if past and settled >= start:
            yield from range(start, end)


def _clauses(words: Sequence[Said]) -> Iterator[tuple[int, int]]:
    start = 0
    for index, word in enumerate(words):
        if not word.is_word:
            yield start, index
            start = index + 1
    yield start, len(words)
