"""Who is asking, and what they see: the name, role and ties behind a token, or the operator."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

from triage.records.payloads import Approved, Closed, Decided, Dispatched, Estimated, Reported, Withdrawn
from triage.records.ticket import Event

Role: TypeAlias = Literal["agent", "technician", "ops", "reporter", "authority"]
ROLES: tuple[Role, ...] = get_args(Role)


@dataclass(frozen=True, slots=True)
class Caller:
    """`contractor` is set for technicians, who see that contractor's tickets and machines only.

    `authority` is set for the person behind one of the rulebook's authorities, who sees the tickets that
    it is asked about, or one of those whose ceilings its own `outranks`, and nothing else.
    """

    name: str
    role: Role
    contractor: str | None = None
    authority: str | None = None
    outranks: frozenset[str] = frozenset()

    def may_see(self, contractor: str | None) -> bool:
        """Whether what is in the care of `contractor` may be shown to this caller."""
        if self.role == "authority":
            return False
        return self.role != "technician" or (self.contractor is not None and contractor == self.contractor)

    def is_asked(self, asked: frozenset[str]) -> bool:
        """Whether this authority may answer what one of `asked` was asked."""
        return self.authority in asked or not asked.isdisjoint(self.outranks)


def own_part(events: Iterable[Event], contractor: str | None) -> Iterator[Event]:
    """A log as a contractor sees it: without what another was told, estimated and authorized to spend."""
    had: str | None = None
    for event in events:
        said = event.payload
        if isinstance(said, Reported) or (isinstance(said, Dispatched) and said.contractor is not None):
            had = said.contractor
        if had == contractor or not isinstance(said, Decided | Estimated | Approved | Withdrawn | Closed):
            yield event
