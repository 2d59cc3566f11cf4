"""The ranking gives the burglary alarm's exact posteriors, the joint states behind the calls as causes.

Source: the network after Pearl, "Probabilistic Reasoning in Intelligent Systems", 1988, with the numbers of
    Russell and Norvig, "Artificial Intelligence: A Modern Approach", edition unknown, chapter on
    Bayesian networks
Status: from memory (the network's numbers); the posteriors computed with pgmpy and by hand
"""

from __future__ import annotations

from itertools import product

import pytest

from tests.triage.small_rulebooks import evidence_rule, small_rulebook
from triage.decide.causes.ranking import rank

BURGLARY, EARTHQUAKE = 0.001, 0.002
ALARM = {(True, True): 0.95, (True, False): 0.94, (False, True): 0.29, (False, False): 0.001}
JOHN_CALLS = {True: 0.90, False: 0.05}
MARY_CALLS = {True: 0.70, False: 0.01}


def test_both_calls_make_a_burglary_28_percent_likely() -> None:
    shares, john, mary = {}, {}, {}
    for burglary, earthquake, alarm in product((True, False), repeat=3):
        name = "".join("y" if holds else "n" for holds in (burglary, earthquake, alarm))
        rings = ALARM[burglary, earthquake]
        shares[name] = (
            (BURGLARY if burglary else 1 - BURGLARY)
            * (EARTHQUAKE if earthquake else 1 - EARTHQUAKE)
            * (rings if alarm else 1 - rings)
        )
        john[name], mary[name] = JOHN_CALLS[alarm], MARY_CALLS[alarm]
    rules = [evidence_rule("john", 0.5, **john), evidence_rule("mary", 0.5, **mary)]
    ranked = rank(small_rulebook({"calls": shares}, rules), ["calls"], {"john": True, "mary": True})
    chances = {each.cause: each.chance for each in ranked if len(each.cause) == 3}
    found = [sum(chance for name, chance in chances.items() if name[place] == "y") for place in range(3)]
    assert found == pytest.approx([0.284171835364, 0.176066838405, 0.760692038863], abs=1e-11)
