"""How the machine was set up (bolt, seal, water test, clock, night mode, training); the whole checklist."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta

from triage.machine.commissioning import placement as place
from triage.machine.commissioning.checklist import Checklist
from triage.machine.commissioning.placement import Finding, Line, Standard
from triage.machine.measures.night_mode import night_mode_hours, night_mode_while_open

SEAL_GOES_ON: Mapping[str, str] = {"grooved": "hopper", "flat": "machine"}
"""Where a hopper seal of each style belongs (common practice, no source)."""


NOBODY = frozenset({"", "nobody", "no one", "noone", "none", "n/a", "na", "no", "unknown", "tbd", "x"}) | {
    *("nadie", "ninguno", "ninguna")
}
"""What is written where nobody was trained."""


def is_nobody(name: str) -> bool:
    return name.strip(" .-?").casefold() in NOBODY


def bolt(checklist: Checklist) -> Finding:
    line = Line("shipping_bolt", "Shipping bolt", "taken out")
    given = checklist.shipping_bolt_removed
    if given is None:
        return line.missing("whether the shipping bolt was taken out")
    return line.judged(
        given,
        "taken out" if given else "still in",
        "the compressor cannot swing on its mounts: it knocks and its lines crack",
    )


def seal(checklist: Checklist) -> Finding:
    line = Line("seal", "Hopper seal", "grooved on the hopper, or flat on the machine")
    style, mounting = checklist.seal.style, checklist.seal.mounting
    if style is None or mounting is None:
        absent = [name for name, value in (("style", style), ("mounting", mounting)) if value is None]
        return line.missing(f"the seal's {' and '.join(absent)}")
    right = SEAL_GOES_ON[style]
    return line.judged(
        mounting == right,
        f"{style} on the {mounting}",
        f"a {style} seal goes on the {right}; the other way it leaks behind the hopper",
    )


def water_test(checklist: Checklist) -> Finding:
    line = Line("water_test", "Water test", "run before the first fill, without a leak")
    test = checklist.water_test
    found = [
        words
        for value, yes, no in (
            (test.before_first_fill, "run before the first fill", "not run before the first fill"),
            (test.leaked, "leaked", "no leak"),
        )
        if value is not None and (words := yes if value else no)
    ]
    if test.before_first_fill is False or test.leaked:
        why = "find and fix the leak, then test again" if test.leaked else "a leak then shows first with mix"
        return line.judged(False, ", ".join(found), why)
    if test.before_first_fill is None or test.leaked is None:
        absent = "whether it was run before the first fill"
        return line.missing(absent if test.before_first_fill is None else "whether it leaked")
    return line.judged(True, ", ".join(found), "")


def clock(checklist: Checklist, site_timezone: str | None) -> Finding:
    line = Line("clock", "Clock and time zone", f"right, in {site_timezone or 'the site’s time zone'}")
    right, zone = checklist.clock.right, checklist.clock.timezone
    shown = None if right is None else "right" if right else "wrong"
    found = ", ".join(text for text in (shown, zone) if text)
    wrong_zone = zone is not None and site_timezone is not None and zone != site_timezone
    if right is False or wrong_zone:
        what = "the clock is wrong" if right is False else f"{zone} is not the site's {site_timezone}"
        return line.judged(False, found, f"{what}: night mode comes at the wrong hours")
    if right is None or zone is None:
        return line.missing("whether the clock is right" if right is None else "the time zone set")
    return line.judged(True, found, "")


def night_mode(checklist: Checklist, standard: Standard, open_around_the_clock: bool) -> Finding:
    least = standard.night_mode_hours
    always = ", at a store that never closes too" if open_around_the_clock else ""
    line = Line("night_mode", "Night mode", f"at least {least:f} h{always}")
    window = checklist.night_mode
    if window is None:
        return line.missing("start and end of night mode")
    hours = night_mode_hours(window.start, window.end)
    span = f"{window.start:%H:%M} to {window.end:%H:%M}, {hours:f} h"
    why = (
        "start and end are alike: night mode is not set"
        if not hours
        else f"{least - hours:f} h short: ice builds up in the barrels and between them"
    )
    if always:
        why += "; choose the quietest hours, the barrels must thaw once a day"
    return line.judged(hours >= least, span, why)


def night_mode_opening(checklist: Checklist, standard: Standard, open_around_the_clock: bool) -> Finding:
    least = standard.freeze_hours
    line = Line(
        "night_mode_opening",
        "Night mode and opening hours",
        f"outside the opening hours, and over {least:f} h before they begin",
    )
    window = checklist.night_mode
    if open_around_the_clock:
        return line.judged(True, "the store never closes", "")
    if window is None or checklist.opening is None:
        absent = "start and end of night mode" if window is None else "the store's opening hours"
        return line.missing(absent)
    hours = night_mode_while_open(window.start, window.end, checklist.opening)
    nights = ", ".join(f"{day} {each:f} h" for day, each in hours.items())
    frozen = (datetime.combine(date.min, window.end) + timedelta(hours=float(least))).time()
    if not hours and night_mode_while_open(window.end, frozen, checklist.opening):
        why = f"it ends less than {least:f} h before the store opens, and nothing is frozen by then"
        return line.judged(False, f"ends at {window.end:%H:%M}", why)
    return line.judged(
        not hours,
        f"within them: {nights}" if nights else "outside the opening hours",
        f"on the nights of {', '.join(hours)} it thaws while the store is open, and nothing frozen is poured",
    )


def training(checklist: Checklist) -> Finding:
    line = Line("training", "Staff trained", "at least one")
    if checklist.trained is None:
        return line.missing("who was trained")
    people = [name for name in checklist.trained if not is_nobody(name)]
    return line.judged(
        bool(people),
        ", ".join(people) or "nobody",
        "nobody in the store knows filling, cleaning and the filter",
    )


def findings(
    checklist: Checklist,
    *,
    site_timezone: str | None = None,
    open_around_the_clock: bool = False,
    standard: Standard | None = None,
) -> tuple[Finding, ...]:
    """Every line of the checklist in order, each passed, failed or missing.

    `site_timezone` is the IANA zone on the site's record; None where it is not known. A site open around the
    clock needs night mode like any other; the finding then says why.
    """
    wanted = standard or Standard()
    return (
        place.dedicated(checklist),
        place.volts(checklist, wanted),
        place.amps(checklist, wanted),
        place.cord(checklist),
        place.behind(checklist, wanted),
        place.sides(checklist, wanted),
        place.level(checklist, wanted),
        bolt(checklist),
        seal(checklist),
        water_test(checklist),
        clock(checklist, site_timezone),
        night_mode(checklist, wanted, open_around_the_clock),
        night_mode_opening(checklist, wanted, open_around_the_clock),
        training(checklist),
    )
