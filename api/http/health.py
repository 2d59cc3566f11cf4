"""For whoever watches the server: whether it lives, whether it can do its work, and what waits.

`/healthz` and `/readyz` ask for no token. `/metrics` is in the Prometheus text format, for ops and reporters;
what it counts is read from the database, so that it is the same whichever process answers.
"""

from collections.abc import Iterator

from flask import Blueprint, Response, jsonify
from flask.typing import ResponseReturnValue
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from api.http.auth import roles, service
from triage.service import numbers, requests
from triage.service.service import Service

blueprint = Blueprint("health", __name__)


@blueprint.get("/healthz")
@blueprint.get("/v1/healthz")
def healthz() -> ResponseReturnValue:
    return jsonify(requests.health(service()))


@blueprint.get("/readyz")
def readyz() -> ResponseReturnValue:
    requests.check_ready(service())
    return jsonify({"status": "ready"})


@blueprint.get("/metrics")
@roles("ops", "reporter")
def metrics() -> ResponseReturnValue:
    registry = CollectorRegistry(auto_describe=False)
    registry.register(Counted(service()))
    return Response(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)


class Counted(Collector):
    """What there is to count, as of now."""

    def __init__(self, service: Service) -> None:
        self._service = service

    def collect(self) -> Iterator[Metric]:
        tickets = numbers.tickets_by_state(self._service)
        waiting = numbers.waiting(self._service)
        name = "barrelwise_tickets"
        family = GaugeMetricFamily(name, "Tickets by state and outcome", labels=("state", "outcome"))
        for (state, outcome), count in sorted(tickets.items()):
            family.add_metric((state, outcome), count)
        yield family
        name = "barrelwise_open_tickets"
        family = GaugeMetricFamily(name, "Open tickets by what they wait for", labels=("waiting",))
        for view in ("open", "call_back", "parked", "due", "held", "solved"):
            family.add_metric((view,), waiting[view])
        yield family
        name = "barrelwise_rulebook"
        family = GaugeMetricFamily(name, "1 for the rulebook that serves", labels=("version",))
        family.add_metric((self._service.rulebook.version,), 1)
        yield family
