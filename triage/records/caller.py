"""Who is asking: the name, role and contractor behind a token, or the operator at the command line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

Role: TypeAlias = Literal["agent", "technician", "ops", "reporter"]
ROLES: tuple[Role, ...] = get_args(Role)


@dataclass(frozen=True, slots=True)
class Caller:
    """`contractor` is set for technicians, who see that contractor's tickets and machines only."""

    name: str
    role: Role
    contractor: str | None = None

    def may_see(self, contractor: str | None) -> bool:
        """Whether what is in the care of `contractor` may be shown to this caller."""
        return self.role != "technician" or (self.contractor is not None and contractor == self.contractor)
