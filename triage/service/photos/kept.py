"""What a technician or an agent has seen, as photos of a ticket or of an installation."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from triage.inputs.photo import read_photo
from triage.records.caller import Caller
from triage.repairs.close_out import MOST_PHOTOS
from triage.service.changes import seen_ticket
from triage.service.service import Service
from triage.store import Work
from triage.store.photos import Photo, Photos
from triage.values.errors import ConflictError, NotFoundError

__all__ = ["OF_TICKETS", "Album", "Photo", "add", "image", "photos"]


@dataclass(frozen=True, slots=True)
class Album:
    """What photos are of: `seen` gives its id, or raises NotFoundError where the viewer may not see it."""

    what: str
    seen: Callable[[Work, str, Caller], str]
    kept: Callable[[Work], Photos]


OF_TICKETS = Album(
    "ticket", lambda work, id_, viewer: seen_ticket(work, id_, viewer).id, lambda work: work.photos
)


def add(service: Service, about: str, data: bytes, who: Caller, album: Album = OF_TICKETS) -> Photo:
    """Keeps a photo; the same one sent again is the one that is there. InputError where it is none."""
    image = read_photo(data)
    digest = digest_of(image)
    with service.store.write() as work:
        about = album.seen(work, about, who)
        known = album.kept(work).of(about)
        same = next((photo for photo in known if photo.digest == digest), None)
        if same is not None:
            return same
        if len(known) >= MOST_PHOTOS:
            raise ConflictError(f"the {album.what} has {len(known)} photos; no more are kept")
        photo = Photo(len(known) + 1, digest, service.now(), who.name)
        album.kept(work).add(about, photo, put(service, digest, image))
    return photo


def photos(service: Service, about: str, viewer: Caller, album: Album = OF_TICKETS) -> Sequence[Photo]:
    with service.store.read() as work:
        return album.kept(work).of(album.seen(work, about, viewer))


def image(service: Service, about: str, number: int, viewer: Caller, album: Album = OF_TICKETS) -> bytes:
    """The JPEG of a photo. NotFoundError where there is none, or its file is gone."""
    with service.store.read() as work:
        about = album.seen(work, about, viewer)
        photo = next((one for one in album.kept(work).of(about) if one.number == number), None)
        kept = None if photo is None else album.kept(work).image(about, number)
    found = None if photo is None else taken(service, photo.digest, kept)
    if found is None:
        raise NotFoundError(f"{album.what} {about} has no photo {number}")
    return found


def digest_of(image: bytes) -> str:
    return hashlib.sha256(image).hexdigest()


def put(service: Service, digest: str, image: bytes) -> bytes | None:
    """What the database is to hold of an image: nothing where the server keeps photos in a folder."""
    if service.photos is None:
        return image
    _write(service.photos, digest, image)
    return None


def taken(service: Service, digest: str, kept: bytes | None) -> bytes | None:
    """The image that `put` kept; `kept` is what the database holds. None where its file is gone."""
    if kept is not None or service.photos is None:
        return kept
    path = _path(service.photos, digest)
    return path.read_bytes() if path.is_file() else None


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
