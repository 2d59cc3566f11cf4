"""What a technician or an agent has seen, as photos of a ticket."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

from triage.inputs.photo import read_photo
from triage.records.caller import Caller
from triage.repairs.close_out import MOST_PHOTOS
from triage.service.changes import seen_ticket
from triage.service.service import Service
from triage.store.photos import Photo
from triage.values.errors import ConflictError, NotFoundError

__all__ = ["Photo", "add", "image", "photos"]


def add(service: Service, ticket_id: str, data: bytes, who: Caller) -> Photo:
    """Keeps a photo; the same one sent again is the one that is there. InputError where it is none."""
    image = read_photo(data)
    digest = hashlib.sha256(image).hexdigest()
    with service.store.write() as work:
        ticket = seen_ticket(work, ticket_id, who)
        known = work.photos.of_ticket(ticket.id)
        same = next((photo for photo in known if photo.digest == digest), None)
        if same is not None:
            return same
        if len(known) >= MOST_PHOTOS:
            raise ConflictError(f"the ticket has {len(known)} photos; no more are kept")
        photo = Photo(len(known) + 1, digest, service.now(), who.name)
        if service.photos is not None:
            _write(service.photos, digest, image)
        work.photos.add(ticket.id, photo, image if service.photos is None else None)
    return photo


def photos(service: Service, ticket_id: str, viewer: Caller) -> Sequence[Photo]:
    with service.store.read() as work:
        return work.photos.of_ticket(seen_ticket(work, ticket_id, viewer).id)


def image(service: Service, ticket_id: str, number: int, viewer: Caller) -> bytes:
    """The JPEG of a photo. NotFoundError where there is none, or its file is gone."""
    with service.store.read() as work:
        ticket = seen_ticket(work, ticket_id, viewer)
        photo = next((one for one in work.photos.of_ticket(ticket.id) if one.number == number), None)
        kept = None if photo is None else work.photos.image(ticket.id, number)
    if kept is None and photo is not None and service.photos is not None:
        path = _path(service.photos, photo.digest)
        kept = path.read_bytes() if path.is_file() else None
    if kept is None:
        raise NotFoundError(f"ticket {ticket.id} has no photo {number}")
    return kept


def _path(folder: Path, digest: str) -> Path:
    return folder / digest[:2] / f"{digest}.jpg"


def drop_files(folder: Path, digests: Sequence[str]) -> None:
    """Erases images that no ticket has any more."""
    for digest in digests:
        _path(folder, digest).unlink(missing_ok=True)


def _write(folder: Path, digest: str, image: bytes) -> None:
    """Whole or not at all, for the owner alone."""
    path = _path(folder, digest)
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    part = path.with_suffix(".part")
    part.touch(mode=0o600)
    part.write_bytes(image)
    part.replace(path)
