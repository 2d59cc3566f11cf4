"""Numbers in words and fractions as numbers: "two and a half" is 2.5, "½" is 0.5, "a dozen" is 12.

Short answers in Spanish, word by word in English: "hace seis semanas" is "six weeks ago".

Only what an answer holds is known here: numbers, times, units, hedges. What is not stays as it was said, and
is then refused in the same way as English that cannot be read.
"""

import re
from collections.abc import Mapping
from decimal import Decimal

_ENGLISH_TOO = frozenset({"once", "no", "pie"})
"""Words of both languages: they are Spanish only beside another one that is."""

_PHRASES: tuple[tuple[str, str], ...] = (
    (r"\b(?:(?:desde )?hace|como|un[oa]s|m[áa]s (?:o menos|de)|casi|alrededor de|aproximadamente)\b *", ""),
    (r"\by (?:pico|algo)\b", ""),
    (r"\bantes de ayer\b", "the day before yesterday"),
    (r"\b(?:esta mañana|hoy en la mañana)\b", "this morning"),
    (r"\bahora mismo\b", "just now"),
    (r"\bla semana pasada\b", "last week"),
    (r"\bel mes pasado\b", "last month"),
    (r"\bel año pasado\b", "last year"),
    (r"\b(?:el )?(\w+) pasado\b", r"last \1"),
    (r"\bmedia docena(?: de)?\b", "6"),
    (r"\buna docena(?: de)?\b", "12"),
    (r"\bun par(?: de)?\b", "a couple of"),
    (r"\btres cuartos de\b", "three quarters of an"),
    (r"\bun cuarto de\b", "a quarter of an"),
    (r"^(hora|día|semana|mes|año) y medi[oa]\b", r"una \1 and a half"),
    (r"\by medi[oa]\b", "and a half"),
    (r"\b(?:por ciento|porciento)\b", "percent"),
    (r"\bni una(?: sola)? vez\b", "never"),
    (r"\bdesde\b", "since"),
    (r"\bgrados (?:centígrados|celsius)\b", "degrees celsius"),
    (r"\b(?:a|son|eran) las?\b", ""),
    (r"\bde la (?:tarde|noche)\b", "pm"),
    (r"\bde la mañana\b", "am"),
    (r"\b(treinta|cuarenta|cincuenta|sesenta|setenta|ochenta|noventa) y\b", r"\1"),
)
_LISTED = """
cero:zero un:one una:one uno:one dos:two tres:three cuatro:four cinco:five seis:six siete:seven ocho:eight
nueve:nine diez:ten once:11 doce:12 trece:13 catorce:14 quince:15 dieciséis:16 dieciseis:16 diecisiete:17
dieciocho:18 diecinueve:19 veinte:20 veintiuno:21 veintiún:21 veintidós:22 veintidos:22 veintitrés:23
veintitres:23 veinticuatro:24 veinticinco:25 veintiséis:26 veintiseis:26 veintisiete:27 veintiocho:28
veintinueve:29 treinta:thirty cuarenta:forty cincuenta:fifty sesenta:sixty setenta:seventy
ochenta:eighty noventa:ninety cien:100 ciento:100 medio:half media:half centímetro:cm centímetros:cm
centimetros:cm metro:meter metros:meters
minuto:minute minutos:minutes hora:hour horas:hours día:day dia:day días:days dias:days semana:week
semanas:weeks quincena:fortnight mes:month meses:months año:year años:years
ayer:yesterday anoche:last_night hoy:today ahora:now anteayer:the_day_before_yesterday
antier:the_day_before_yesterday lunes:monday martes:tuesday miércoles:wednesday miercoles:wednesday
jueves:thursday viernes:friday sábado:saturday sabado:saturday domingo:sunday
pulgada:inch pulgadas:inches pie:foot pies:feet galón:gallon galon:gallon galones:gallons litro:liter
litros:liters taza:cup tazas:cups libra:pound libras:pounds kilos:kilos grados:degrees centígrados:celsius
amperios:amps amperes:amps voltios:volts mañana:morning nunca:never ninguno:none ninguna:none
nada:none vez:times veces:times bolsa:bags bolsas:bags jarra:jugs jarras:jugs
enero:january febrero:february marzo:march abril:april mayo:may junio:june julio:july agosto:august
septiembre:september setiembre:september octubre:october noviembre:november diciembre:december
mediodía:12_pm mediodia:12_pm medianoche:12_am el: de: y:and
"""
_IN_ENGLISH: Mapping[str, str] = {
    spanish: english.replace("_", " ") for spanish, english in (pair.split(":") for pair in _LISTED.split())
}

DONT_KNOW = (
    r"(?:(?:pues|pos|la verdad|es que),? (?:que )?)?(?:no (?:lo |se )?(?:s[ée]|sabe|sabemos|recuerdo)|"
    r"no sabr[íi]a decir(?:le)?|no me acuerdo|(?:no tengo|ni) (?:ni )?idea|no (?:estoy|está) segur[oa]|"
    r"qui[ée]n sabe|sabr[áa] dios|desconocido|desconozco)"
)
"""A pattern of the words by which somebody says that they cannot tell."""


def in_english(said: str) -> str:
    """`said` (lower case) with its Spanish words in English; as it is where no word is Spanish alone."""
    words = re.findall(r"\w+", said)
    if not any(word in _IN_ENGLISH and word not in _ENGLISH_TOO for word in words):
        return said
    for pattern, english in _PHRASES:
        said = re.sub(pattern, english, said)
    return " ".join(re.sub(r"[^\W\d_]+", lambda found: _IN_ENGLISH.get(found[0], found[0]), said).split())


_ONES = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen"
)
_WORDS = {word: number for number, word in enumerate(f"{_ONES} seventeen eighteen nineteen".split())}
_MORE = "twenty thirty forty fifty sixty seventy eighty ninety"
_WORDS |= {word: (number + 2) * 10 for number, word in enumerate(_MORE.split())}
_TENS = "|".join(word for word, number in _WORDS.items() if number >= 20)
_SINGLE = "|".join(word for word, number in _WORDS.items() if 1 <= number <= 9)
_ANY = "|".join(sorted(_WORDS, key=len, reverse=True))
_SIGNS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3"}
_FIXED = (
    (r"\b(?:a )?couple(?: of)?\b", "2"),
    (r"\b(?:half a|a half|half an)\b", "0.5"),
    (r"\ba quarter(?: of an?)?\b", "0.25"),
    (r"\bthree quarters(?: of an?)?\b", "0.75"),
    (r"\b(?:a|one) dozen\b", "12"),
    (r"\b(?:a|one) hundred(?: and)?\b", "100"),
    (r"\btwice\b", "2 times"),
    (r"\bhalf\b", "0.5"),
)


def in_digits(text: str) -> str:
    """`text` (lower case) with every number in numbers. What is no number stays as it is."""
    for sign, written in _SIGNS.items():
        text = text.replace(sign, f" {written}")
    text = re.sub(rf"\b({_ANY}|\d+|an?)( \w+)? and a half\b", _and_a_half, text)
    for pattern, number in _FIXED:
        text = re.sub(pattern, number, text)
    text = re.sub(rf"\b({_TENS})[ -]({_SINGLE})\b", lambda m: str(_WORDS[m[1]] + _WORDS[m[2]]), text)
    text = re.sub(rf"\b({_ANY})\b", lambda m: str(_WORDS[m[1]]), text)
    text = re.sub(r"\b100 (\d{1,2})\b", lambda m: str(100 + int(m[1])), text)
    text = re.sub(r"\b(?:(\d{1,9}) +)?(\d{1,9})/([1-9]\d?)\b", _fraction, text)
    text = re.sub(r"\ban? (?=[a-z])", "1 ", text)
    return " ".join(text.split())


def _and_a_half(match: re.Match[str]) -> str:
    """ "two and a half hours", "an hour and a half"."""
    word = match[1]
    whole = 1 if word in ("a", "an") else _WORDS[word] if word in _WORDS else int(word)
    return f"{whole}.5{match[2] or ''}"


def _fraction(match: re.Match[str]) -> str:
    number = Decimal(match[1] or 0) + Decimal(match[2]) / Decimal(match[3])
    return f"{number.quantize(Decimal('0.0001')).normalize():f}"
