"""What technicians look up, and that none sees another contractor's rates."""

from __future__ import annotations

from tests.api.conftest import Send
from triage.service.service import Service


def test_a_technician_sees_the_own_rates_only(send: Send, service: Service) -> None:
    own = send("GET", "/v1/lookups/rates", by="fogline").json
    assert own is not None
    # This rulebook has no agreement with anyone, so the default one holds.
    assert own["contractor"] is None
    assert own["items"][0]["trip"] == str(service.rulebook.rates.default.trip)
    assert send("GET", "/v1/lookups/rates?contractor=tern", by="fogline").status_code == 404
    assert send("GET", "/v1/lookups/rates?contractor=tern", by="ops").status_code == 200


def test_what_is_listed_is_the_live_rulebooks(send: Send, service: Service) -> None:
    rulebook = service.rulebook
    causes = send("GET", "/v1/lookups/causes", by="tern").json["items"]
    assert {one["id"] for one in causes} == set(rulebook.causes)
    parts = send("GET", "/v1/lookups/parts", by="tern").json
    assert {one["id"]: one["price"] for one in parts["items"]} == {
        number: f"{part.price:f}" for number, part in rulebook.parts.items()
    }
    components = send("GET", "/v1/lookups/components", by="tern").json["items"]
    assert {one["component"] for one in causes} == set(components)
