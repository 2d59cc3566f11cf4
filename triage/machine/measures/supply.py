"""The electrical supply: voltage drop, load on the circuit, and whether they explain a weak start.

`facts` computes, from whichever of its inputs are known:

Where the nominal voltage is not known, nothing is said in percent of it.

- `supply_drop_pct`: voltage drop in percent of nominal, as measured, else as calculated from wire and cord
- `supply_drop_calculated_pct`: the drop wire and cord should have; `supply_drop_excess_pct`: measured
  beyond it (a poor joint, a longer or a thinner run than stated)
- `supply_start_volts`: estimate of the voltage while the motor starts
- `supply_idle_off_band`: flag, idle voltage outside the band a utility keeps
- `circuit_headroom_amps`: what is left of the 80 % (negative: over), `circuit_overloaded`: flag
- `cord_replaces_wiring`: flag, an extension cord stands in for fixed wiring
- `supply_explains_weak_start`: flag

Inputs are the ids in `INPUTS` and the flags `extension_cord`, `fastened_in_place`, `shares_circuit`.

Left out: reactance and power factor (small at these conductor sizes), three-phase circuits, the drop ahead
of the panel, and wires cooler than 75 C, so a calculated drop errs on the high side. None
of this replaces a licensed electrician's measurement; local codes come first.
"""

from collections.abc import Mapping

from triage.logic.conditions import Facts, FactValue, Truth
from triage.machine.measures.quantities import Span, check_ranges, known_quantities, new_facts, rounded
from triage.values.errors import InputError, Problem

WIRING_OHM_PER_KFT: Mapping[int, float] = {14: 3.07, 12: 1.93, 10: 1.21, 8: 0.778, 6: 0.491}
"""DC resistance at 75 C, uncoated copper: solid up to 10 AWG as in building wire, stranded above.

NFPA 70 (NEC), chapter 9, table 8; secondary copies.
"""

CORD_OHM_PER_KFT: Mapping[int, float] = {18: 7.95, 16: 4.99, 14: 3.14, 12: 1.98, 10: 1.24}
"""The same table's stranded rows: flexible cords. Secondary copies."""

INPUTS: Mapping[str, Span] = {
    "conductor_awg": Span("the size of the branch wiring", 6, 14, ""),
    "wire_run_ft": Span("the one-way length of the wiring", 0, 1000, "foot"),
    "cord_awg": Span("the size of the extension cord", 10, 18, ""),
    "cord_ft": Span("the length of the extension cord", 0, 300, "foot"),
    "nominal_volts": Span("the nominal voltage", 90, 480, "volt"),
    "idle_volts": Span("the voltage with the machine off", 1, 600, "volt"),
    "running_volts": Span("the voltage with the machine running", 1, 600, "volt"),
    "running_amps": Span("the running current", 0.1, 100, "ampere"),
    "start_amps": Span("the starting (locked-rotor) current", 0.1, 600, "ampere"),
    "circuit_amps": Span("the rating of the circuit", 5, 100, "ampere"),
    "other_load_amps": Span("the other load on the circuit", 0, 100, "ampere"),
}


MOST_DROP_PCT = 5.0
"""Of the nominal voltage. Informational notes to NEC 210.19 and 215.2, farthest outlet, feeder and branch
together (from memory; advice, not a rule)."""
BAND_PCT = 5.0
"""114 to 126 V at 120 V (COMAR 20.50.07.02)."""
LEAST_RUNNING_PCT, LEAST_START_PCT = 90.0, 85.0
"""Of the nominal voltage. Common practice, no source."""


def _resistance(table: Mapping[int, float], awg: float, name: str) -> float:
    if awg not in table:
        sizes = ", ".join(str(size) for size in table)
        raise InputError([Problem(f"{awg:g} AWG is not in the table; sizes are {sizes}", f"/{name}")])
    return table[int(awg)]


def drop_volts(ohm_per_kft: float, one_way_ft: float, amps: float) -> float:
    """Drop over both conductors of a two-wire circuit: 2 L R I / 1000."""
    return 2 * one_way_ft * ohm_per_kft * amps / 1000


def percent_of(volts: float, nominal_volts: float) -> float:
    check_ranges(INPUTS, nominal_volts=nominal_volts)
    return 100 * volts / nominal_volts


def measured_drop_volts(idle_volts: float, running_volts: float) -> float:
    """The drop two readings at the outlet imply. Slightly negative is noise; far negative is an
    InputError.
    """
    check_ranges(INPUTS, idle_volts=idle_volts, running_volts=running_volts)
    if running_volts > 1.05 * idle_volts:
        raise InputError(
            [Problem("the running voltage lies above the idle voltage; were they swapped?", "/running_volts")]
        )
    return idle_volts - running_volts


def start_volts(
    idle_volts: float, drop_at_running_volts: float, running_amps: float, start_amps: float
) -> float:
    """The voltage while the motor starts, the drop growing in proportion to the current.

    Raises InputError where a current is out of range; without a running current nothing is known of the drop.
    """
    check_ranges(INPUTS, running_amps=running_amps, start_amps=start_amps)
    return idle_volts - drop_at_running_volts * start_amps / running_amps


def permitted_amps(
    circuit_amps: float, *, fastened_in_place: bool = False, shares_circuit: bool = False
) -> float:
    """What one machine may draw: 80 % of the circuit for a cord-and-plug item (NEC 210.23(A)(1)), 50 % for
    one fastened in place that shares the circuit (210.23(A)(2)). Secondary copies; local codes come
    first.
    """
    check_ranges(INPUTS, circuit_amps=circuit_amps)
    return circuit_amps * (0.5 if fastened_in_place and shares_circuit else 0.8)


def headroom_amps(circuit_amps: float, running_amps: float, other_load_amps: float = 0.0) -> float:
    """80 % of the circuit less everything on it; negative when over.

    The code's 80 % is for one item; taking the sum is the cautious reading for loads that run for hours.
    """
    return permitted_amps(circuit_amps) - running_amps - other_load_amps


def explains_weak_start(
    *,
    nominal_volts: float | None,
    measured_drop_pct: float | None = None,
    calculated_drop_pct: float | None = None,
    running_volts: float | None = None,
    starting_volts: float | None = None,
) -> Truth:
    """True when one number is bad enough; False only on good readings; None when it cannot be said.

    A small calculated drop never clears the supply: a calculation does not see a loose joint. Volts say
    nothing without the nominal voltage.
    """
    running, starting = _percent(running_volts, nominal_volts), _percent(starting_volts, nominal_volts)
    bad = (
        (measured_drop_pct is not None and measured_drop_pct > MOST_DROP_PCT)
        or (calculated_drop_pct is not None and calculated_drop_pct > MOST_DROP_PCT)
        or (running is not None and running < LEAST_RUNNING_PCT)
        or (starting is not None and starting < LEAST_START_PCT)
    )
    if bad:
        return True
    return False if measured_drop_pct is not None and running is not None else None


def _percent(volts: float | None, nominal_volts: float | None) -> float | None:
    return None if volts is None or nominal_volts is None else percent_of(volts, nominal_volts)


def facts(known: Facts) -> dict[str, FactValue]:
    """The facts named in the module's docstring, as far as the known inputs allow; volts and amps in
    Decimals.
    """
    given = known_quantities(known, INPUTS)
    nominal = given.get("nominal_volts")
    amps = given.get("running_amps")
    idle, running = given.get("idle_volts"), given.get("running_volts")

    calculated = _calculated_drop(given, known.get("extension_cord") is True)
    measured = None if idle is None or running is None else measured_drop_volts(idle, running)
    drop = measured if measured is not None else calculated
    at_rest, starting = nominal if idle is None else idle, None
    if at_rest is not None and drop is not None and amps is not None and "start_amps" in given:
        starting = start_volts(at_rest, max(drop, 0.0), amps, given["start_amps"])

    measured_pct = _percent(None if measured is None else max(0.0, measured), nominal)
    calculated_pct, idle_pct = _percent(calculated, nominal), _percent(idle, nominal)
    drop_pct = measured_pct if measured_pct is not None else calculated_pct
    headroom, overloaded = _load(given, known)

    return new_facts(
        known,
        {
            "supply_drop_pct": _rounded(None if drop_pct is None else min(drop_pct, 100.0), 2),
            "supply_drop_calculated_pct": _rounded(calculated_pct, 2),
            "supply_drop_excess_pct": _rounded(
                None if measured_pct is None or calculated_pct is None else measured_pct - calculated_pct, 2
            ),
            "supply_start_volts": _rounded(None if starting is None else max(starting, 0.0), 1),
            "supply_idle_off_band": None if idle_pct is None else abs(idle_pct - 100.0) > BAND_PCT,
            "circuit_headroom_amps": _rounded(headroom, 2),
            "circuit_overloaded": overloaded,
            "cord_replaces_wiring": _flag(known.get("extension_cord")),
            "supply_explains_weak_start": explains_weak_start(
                nominal_volts=nominal,
                measured_drop_pct=measured_pct,
                calculated_drop_pct=calculated_pct,
                running_volts=running,
                starting_volts=starting,
            ),
        },
    )


def _calculated_drop(given: Mapping[str, float], through_cord: bool) -> float | None:
    """Drop over wiring and cord; None while a length, a size or the current is missing."""
    amps = given.get("running_amps")
    if amps is None or "conductor_awg" not in given or "wire_run_ft" not in given:
        return None
    drop = drop_volts(
        _resistance(WIRING_OHM_PER_KFT, given["conductor_awg"], "conductor_awg"), given["wire_run_ft"], amps
    )
    if not through_cord:
        return drop
    if "cord_awg" not in given or "cord_ft" not in given:
        return None
    return drop + drop_volts(
        _resistance(CORD_OHM_PER_KFT, given["cord_awg"], "cord_awg"), given["cord_ft"], amps
    )


def _load(given: Mapping[str, float], known: Facts) -> tuple[float | None, Truth]:
    if "circuit_amps" not in given or "running_amps" not in given:
        return None, None
    headroom = headroom_amps(given["circuit_amps"], given["running_amps"], given.get("other_load_amps", 0.0))
    permitted = permitted_amps(
        given["circuit_amps"],
        fastened_in_place=known.get("fastened_in_place") is True,
        shares_circuit=known.get("shares_circuit") is True or given.get("other_load_amps", 0.0) > 0,
    )
    return headroom, headroom < 0 or given["running_amps"] > permitted


def _rounded(value: float | None, places: int) -> FactValue | None:
    return None if value is None else rounded(value, places)


def _flag(value: FactValue | None) -> bool | None:
    return value if isinstance(value, bool) else None
