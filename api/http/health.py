"""For whoever watches the server: whether it lives, whether it can do its work, and what waits.

`/healthz` and `/readyz` ask for no token. `/metrics` is in the Prometheus text format, for ops and reporters;
it is the same whichever process answers: what stands in the database is counted there, and see `watching`.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from flask import Blueprint, Response, jsonify
from flask.typing import ResponseReturnValue
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from api.http.auth import roles, service
from api.http.watching import everywhere
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
    text = generate_latest(everywhere()) + generate_latest(registry)
    return Response(text, content_type=CONTENT_TYPE_LATEST)


WAITING = ("open", "call_back", "parked", "due", "held", "solved")


class Counted(Collector):
    """What there is to count, as of now."""

    def __init__(self, service: Service) -> None:
        self._service = service

    def collect(self) -> Iterator[Metric]:
        asked = self._service
        states = numbers.tickets_by_state(asked)
        waiting = numbers.waiting(asked)
        not_sent = numbers.not_sent(asked)
        yield _gauge("tickets", "Tickets by state and outcome", ("state", "outcome"), sorted(states.items()))
        yield _gauge(
            "open_tickets",
            "Open tickets by what they wait for",
            ("waiting",),
            [((view,), count) for view, count in waiting.items() if view in WAITING],
        )
        yield _gauge(
            "rulebook", "1 for the rulebook that serves", ("version",), [((asked.rulebook.version,), 1)]
        )
        yield _gauge("replays", "Replays by state", ("state",), _labeled(numbers.replays_by_state(asked)))
        counts = {name: count for name, (count, _) in not_sent.items()}
        ages = {name: seconds for name, (_, seconds) in not_sent.items()}
        yield _gauge("not_sent", "E-mails and events that wait to be delivered", ("to",), _labeled(counts))
        yield _gauge("not_sent_seconds", "How long the oldest of them waits", ("to",), _labeled(ages))
        size = [((), numbers.database_bytes(asked))]
        yield _gauge("database_bytes", "What the database takes on its disk", (), size)
        free = _labeled(numbers.free_bytes(asked))
        yield _gauge("disk_free_bytes", "What is left on the disk of each", ("of",), free)


def _labeled(values: Mapping[str, float]) -> Iterable[tuple[tuple[str, ...], float]]:
    return [((name,), value) for name, value in sorted(values.items())]


def _gauge(
    name: str, meaning: str, labels: Sequence[str], values: Iterable[tuple[tuple[str, ...], float]]
) -> Metric:
    family = GaugeMetricFamily(f"barrelwise_{name}", meaning, labels=labels)
    for labeled, value in values:
        family.add_metric(labeled, value)
    return family
