"""Freeze-down: how long until product can be served, and whether it is too early to call it a fault.

`facts` computes `freezing_point_c`, `ice_share_pct` (at the serving temperature), `serving_temperature_c`
(of the wanted ice share, where no setting is known), `heat_to_remove_kj`, `servable_after_min` with the
band `servable_after_min_low` and `servable_after_min_high`, `minutes_until_servable` (expected, 0 when due)
and `too_early` (flag: less time has passed than the band's upper end). `servable_error_pct`
says by how much the expected time may be wrong: the larger side of the band, in percent of it; some 45 % at
the usual 40 % ice (43 to 48 % too short, 17 to 19 % too long), more for little ice. The band is made of
assumptions; it has not been held against a machine's times.

Inputs are the ids in `INPUTS`, the choice `refill_temp` ("cold", "room", "hot") where `refill_temp_c` is
not known, and the sugar share: `brix_measured`, else `brix_expected`, else `label_brix`. The volume is what
was added to one barrel at the last refill, the cooling capacity that of one barrel: ice that was there
already needs no second freezing, so only what was added counts.

Left out, and what the band is there for: cooling of the slush below its first freezing point (about 1 % of
the heat); heat of stirring, leaking in, and of the barrel; ice on the cold wall, a dirty filter or
condenser, low refrigerant (they lower the capacity); sugars other than sucrose, alcohol and dissolved gas
(they lower the freezing point); supercooling before the first ice.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from triage.logic.conditions import Facts, FactValue
from triage.machine.measures.quantities import (
    DEPRESSION_K,
    Span,
    brix_freezing_at,
    check_ranges,
    density_kg_per_l,
    freezing_point_c,
    known_quantities,
    new_facts,
    rounded,
)
from triage.values.errors import InputError, Problem

LATENT_HEAT_KJ_PER_KG = 333.55
"""Melting of ice at 0 C, as often printed (from memory; IAPWS gives 333.42)."""

WATTS_LOST_PER_KELVIN = 0.015
"""Share of the capacity an air-cooled unit loses per kelvin of room above its rating. Common practice."""

REFILL_C: Mapping[str, float] = {"cold": 4.0, "hot": 40.0}
"""What a clerk's "cold" and "hot" stand for. Common practice, no source."""

INPUTS: Mapping[str, Span] = {
    "refill_volume_l": Span("the volume added", 0.1, 60, "liter"),
    "brix_measured": Span("the measured sugar share", 0, 100, "percent"),
    "brix_expected": Span("the expected sugar share", 0, 100, "percent"),
    "label_brix": Span("the sugar share the label asks for", 1, 42, "percent"),
    "refill_temp_c": Span("the temperature of the product added", 0, 80, "degC"),
    "room_temp_f": Span("the room temperature", 20, 140, "degF"),
    "cooling_watts": Span("the cooling capacity of a barrel", 50, 5000, "watt"),
    "cooling_rated_at_c": Span("the room temperature of the rating", 10, 50, "degC"),
    "serving_temp_c": Span("the serving temperature", -4.9, 15, "degC"),
    "minutes_since_refill": Span("the time since the refill", 0, 525600, "minute"),
    "minutes_since_start": Span("the time since it was switched on", 0, 525600, "minute"),
}


WANTED_ICE_SHARE = 0.40
"""Where no serving temperature is known. Common practice, no source."""
ICE_SHARE_OFF, CAPACITY_GAIN, CAPACITY_LOSS = 0.05, 0.10, 0.25
"""How far off the inputs may be; the band is the time at both ends together. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class FreezeTime:
    """Minutes from the refill until servable: expected, and the band it should lie in."""

    minutes: float
    low_minutes: float
    high_minutes: float

    @property
    def error(self) -> float:
        """By which share of `minutes` they may be wrong: the larger side of the band."""
        return max(self.high_minutes - self.minutes, self.minutes - self.low_minutes) / self.minutes


def siebel_kj_per_kg_k(brix: float) -> float:
    """Specific heat above freezing after Siebel (1892), with .83736 kJ/kg K for the solids."""
    return 0.83736 + 3.349 * (1 - brix / 100)


def chen_kj_per_kg_k(brix: float) -> float:
    """Specific heat above freezing after Chen (1985); from memory. 3 to 4 % above Siebel's."""
    solids = brix / 100
    return 4.19 - 2.30 * solids - 0.628 * solids**3


def ice_share(brix: float, temperature_c: float) -> float:
    """Share of the mass that is ice, by the lever rule on the freezing-point table; 0 above freezing."""
    if temperature_c >= freezing_point_c(brix):
        return 0.0
    return 1 - brix / brix_freezing_at(temperature_c)


def temperature_at_ice_share_c(brix: float, share: float) -> float:
    """The temperature at which `share` of the mass is ice; the share must leave the liquid inside the
    table.
    """
    most = max(DEPRESSION_K)
    if not 0 <= share < 1 or brix / (1 - share) > most:
        raise InputError(
            [Problem(f"{share:.0%} ice of a {brix:g} % mix is outside the table (to {most:g} % sugar)")]
        )
    return freezing_point_c(brix / (1 - share))


def heat_to_remove_kj(
    mass_kg: float, brix: float, from_c: float, share: float, *, specific_heat: float | None = None
) -> float:
    """Sensible heat down to the freezing point (Chen's specific heat by default) and latent heat of the
    ice.
    """
    cp = chen_kj_per_kg_k(brix) if specific_heat is None else specific_heat
    sensible = mass_kg * cp * max(0.0, from_c - freezing_point_c(brix))
    return sensible + mass_kg * share * LATENT_HEAT_KJ_PER_KG


def net_watts(cooling_watts: float, room_c: float, rated_at_c: float = 25.0) -> float:
    """The capacity in a room warmer than the rating's; a cooler room earns no credit. Never below 30 %."""
    lost = WATTS_LOST_PER_KELVIN * max(0.0, room_c - rated_at_c)
    return cooling_watts * max(0.30, 1 - lost)


def freeze_time(
    volume_l: float,
    brix: float,
    from_c: float,
    share: float,
    watts: float,
) -> FreezeTime:
    """Time from the refill until `share` of the mass is ice, with `watts` of net cooling."""
    check_ranges(INPUTS, refill_volume_l=volume_l, brix_measured=brix, refill_temp_c=from_c)
    if watts <= 0:
        raise InputError([Problem("the cooling capacity must be above 0 W", "/cooling_watts")])
    mass_kg = volume_l * density_kg_per_l(brix)

    def minutes(ice: float, cp: float, capacity: float) -> float:
        heat_kj = heat_to_remove_kj(mass_kg, brix, from_c, ice, specific_heat=cp)
        return heat_kj * 1000 / (watts * capacity) / 60

    siebel, chen = siebel_kj_per_kg_k(brix), chen_kj_per_kg_k(brix)
    return FreezeTime(
        minutes=minutes(share, chen, 1.0),
        low_minutes=minutes(max(0.0, share - ICE_SHARE_OFF), min(siebel, chen), 1 + CAPACITY_GAIN),
        high_minutes=minutes(min(1.0, share + ICE_SHARE_OFF), max(siebel, chen), 1 - CAPACITY_LOSS),
    )


def facts(known: Facts) -> dict[str, FactValue]:
    """The facts named in the module's docstring, as far as the known inputs allow."""
    given = known_quantities(known, INPUTS)
    brix = next(
        (given[name] for name in ("brix_measured", "brix_expected", "label_brix") if name in given), None
    )
    if brix is None or brix > max(DEPRESSION_K):
        return {}
    computed: dict[str, FactValue | None] = {"freezing_point_c": rounded(freezing_point_c(brix), 2)}
    if "serving_temp_c" in given:
        share = ice_share(brix, given["serving_temp_c"])
    else:
        share = WANTED_ICE_SHARE
        # A very sweet mix cannot reach the share inside the table; then no time is promised either.
        if brix / (1 - share) > max(DEPRESSION_K):
            return new_facts(known, computed)
        computed["serving_temperature_c"] = rounded(temperature_at_ice_share_c(brix, share), 2)
    computed["ice_share_pct"] = rounded(100 * share, 1)

    room_c = None if "room_temp_f" not in given else (given["room_temp_f"] - 32) / 1.8
    from_c = _refill_c(given, known, room_c)
    if from_c is not None and "refill_volume_l" in given:
        volume_l = given["refill_volume_l"]
        heat_kj = heat_to_remove_kj(volume_l * density_kg_per_l(brix), brix, from_c, share)
        computed["heat_to_remove_kj"] = rounded(heat_kj, 0)
        if "cooling_watts" in given:
            rated_at_c = given.get("cooling_rated_at_c", 25.0)
            watts = net_watts(given["cooling_watts"], rated_at_c if room_c is None else room_c, rated_at_c)
            time = freeze_time(volume_l, brix, from_c, share, watts)
            computed |= _time_facts(time, given)
    return new_facts(known, computed)


def _refill_c(given: Mapping[str, float], known: Facts, room_c: float | None) -> float | None:
    if "refill_temp_c" in given:
        return given["refill_temp_c"]
    choice = known.get("refill_temp")
    if choice == "room":
        return None if room_c is None else max(0.0, room_c)
    return REFILL_C.get(choice) if isinstance(choice, str) else None


def _time_facts(time: FreezeTime, given: Mapping[str, float]) -> dict[str, FactValue | None]:
    computed: dict[str, FactValue | None] = {
        "servable_after_min": rounded(time.minutes, 0),
        "servable_after_min_low": rounded(time.low_minutes, 0),
        "servable_after_min_high": rounded(time.high_minutes, 0),
        "servable_error_pct": rounded(100 * time.error, 0),
    }
    # A machine switched on after the refill has only cooled since then.
    cooled = [given[name] for name in ("minutes_since_refill", "minutes_since_start") if name in given]
    if cooled:
        computed["minutes_until_servable"] = rounded(max(0.0, time.minutes - min(cooled)), 0)
        computed["too_early"] = min(cooled) < time.high_minutes
    return computed
