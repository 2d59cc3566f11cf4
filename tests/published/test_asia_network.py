"""The ranking gives the published network's exact posteriors, the joint states of its diseases as causes.

Given which of tuberculosis, lung cancer and bronchitis are present, the visit, the X-ray and the breathing
are independent, so that the network is a star over the eight joint states: just what the ranking computes.

Source: Lauritzen and Spiegelhalter, "Local computations with probabilities on graphical structures", JRSS-B
    50(2):157-224, 1988
Status: secondary copy (the network's numbers); the posteriors computed with pgmpy
"""

from __future__ import annotations

from itertools import product

import pytest

from tests.triage.small_rulebooks import evidence_rule, small_rulebook
from triage.decide.causes.ranking import rank
from triage.rulebook.model import Rulebook

SMOKES = 0.5
ASIA = 0.01
TUB = {True: 0.05, False: 0.01}  # by visit to Asia
LUNG = {True: 0.1, False: 0.01}  # by smoking
BRONC = {True: 0.6, False: 0.3}  # by smoking
XRAY = {True: 0.98, False: 0.05}  # by either
DYSP = {(True, True): 0.9, (True, False): 0.8, (False, True): 0.7, (False, False): 0.1}  # bronc, either

STATES = list(product((True, False), repeat=3))  # tub, lung, bronc


def _p(chance: float, holds: bool) -> float:
    return chance if holds else 1 - chance


def _name(state: tuple[bool, bool, bool]) -> str:
    return "".join("y" if holds else "n" for holds in state)


def _network() -> Rulebook:
    tub_in_all = ASIA * TUB[True] + (1 - ASIA) * TUB[False]
    shares, asia, xray, dysp = {}, {}, {}, {}
    for state in STATES:
        tub, lung, bronc = state
        smoking = sum(
            _p(SMOKES, smokes) * _p(LUNG[smokes], lung) * _p(BRONC[smokes], bronc) for smokes in (True, False)
        )
        name, either = _name(state), tub or lung
        shares[name] = _p(tub_in_all, tub) * smoking
        asia[name] = ASIA * _p(TUB[True], tub) / _p(tub_in_all, tub)
        xray[name], dysp[name] = XRAY[either], DYSP[bronc, either]
    rules = [
        evidence_rule("asia", 0.5, **asia),
        evidence_rule("xray", 0.5, **xray),
        evidence_rule("dysp", 0.5, **dysp),
    ]
    return small_rulebook({"patient": shares}, rules)


@pytest.mark.parametrize(
    ("seen", "tub", "lung", "bronc", "either"),
    [
        ((), 0.0104, 0.055, 0.45, 0.064828),
        (("dysp",), 0.0188453075, 0.1027592228, 0.8339673363, 0.1205358343),
        (("xray",), 0.0924108832, 0.4887114013, 0.5063261560, 0.5760396859),
        (("asia", "dysp"), 0.0877509650, 0.0995251451, 0.8114020716, 0.1822998528),
        (("asia", "dysp", "xray"), 0.3917117200, 0.4442705078, 0.6288217760, 0.8137687024),
    ],
)
def test_the_posteriors_are_the_networks(
    seen: tuple[str, ...], tub: float, lung: float, bronc: float, either: float
) -> None:
    chances = {each.cause: each.chance for each in rank(_network(), ["patient"], dict.fromkeys(seen, True))}
    found = {
        "tub": sum(chances[_name(state)] for state in STATES if state[0]),
        "lung": sum(chances[_name(state)] for state in STATES if state[1]),
        "bronc": sum(chances[_name(state)] for state in STATES if state[2]),
        "either": sum(chances[_name(state)] for state in STATES if state[0] or state[1]),
    }
    assert found == pytest.approx({"tub": tub, "lung": lung, "bronc": bronc, "either": either}, abs=1e-10)
