"""What of an installer's checklist passes, what fails and why with numbers, and what is missing."""

from triage.machine.commissioning import placement as place
from triage.machine.commissioning import set_up as setup
from triage.machine.commissioning.checklist import Checklist
from triage.machine.commissioning.placement import Finding, Standard


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
        setup.bolt(checklist),
        setup.seal(checklist),
        setup.water_test(checklist),
        setup.clock(checklist, site_timezone),
        setup.night_mode(checklist, wanted, open_around_the_clock),
        setup.night_mode_opening(checklist, open_around_the_clock),
        setup.training(checklist),
    )
