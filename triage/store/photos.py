"""Photos of a ticket or an installation, beside its log: by number, each once. Those of care by digest."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, LargeBinary, String, UniqueConstraint, delete, func, insert, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.store.tables.models import Base
from triage.values.errors import NotFoundError


class _Kept:
    """`image` is a JPEG; None where it lies in the folder of photos, under its digest."""

    number: Mapped[int] = mapped_column(primary_key=True)
    digest: Mapped[str] = mapped_column(String(64))
    at: Mapped[datetime]
    who: Mapped[str]
    image: Mapped[bytes | None] = mapped_column(LargeBinary)


class PhotoRow(_Kept, Base):
    __tablename__ = "photos"
    __table_args__ = (UniqueConstraint("ticket", "digest"),)

    ticket: Mapped[str] = mapped_column(ForeignKey("tickets.id"), primary_key=True)


class InstallPhotoRow(_Kept, Base):
    __tablename__ = "install_photos"
    __table_args__ = (UniqueConstraint("install", "digest"),)

    install: Mapped[str] = mapped_column(ForeignKey("installs.id"), primary_key=True)


class CarePhotoRow(Base):
    """A JPEG by its digest, which stands in the care log; None: it lies in the folder of photos."""

    __tablename__ = "care_photos"

    digest: Mapped[str] = mapped_column(String(64), primary_key=True)
    image: Mapped[bytes | None] = mapped_column(LargeBinary)


@dataclass(frozen=True, slots=True)
class Photo:
    """`digest` is the SHA-256 of the image, in hexadecimal digits."""

    number: int
    digest: str
    at: datetime
    who: str


class Photos:
    """Of tickets; `about` is a ticket's id."""

    row: Any = PhotoRow
    key = "ticket"

    def __init__(self, session: Session) -> None:
        self._session = session

    def of(self, about: str) -> tuple[Photo, ...]:
        query = select(self.row.number, self.row.digest, self.row.at, self.row.who).filter_by(
            **{self.key: about}
        )
        return tuple(Photo(*row) for row in self._session.execute(query.order_by(self.row.number)))

    def counts(self, about: Collection[str]) -> dict[str, int]:
        """How many each of these has that has any."""
        key = getattr(self.row, self.key)
        query = select(key, func.count()).where(key.in_(about)).group_by(key)
        return {row[0]: row[1] for row in self._session.execute(query)}

    def image(self, about: str, number: int) -> bytes | None:
        """What is kept in the database; None where it is not there."""
        found: bytes | None = self._session.scalar(
            select(self.row.image).filter_by(number=number, **{self.key: about})
        )
        return found

    def add(self, about: str, photo: Photo, image: bytes | None) -> None:
        values = {"number": photo.number, "digest": photo.digest, "at": photo.at, "who": photo.who}
        self._session.connection().execute(
            insert(self.row).values(image=image, **values, **{self.key: about})
        )

    def forget(self, about: str) -> tuple[int, tuple[str, ...]]:
        """Erases the photos: how many, and the digests of those that stand nowhere else."""
        digests = self._session.scalars(select(self.row.digest).filter_by(**{self.key: about})).all()
        self._session.execute(delete(self.row).filter_by(**{self.key: about}))
        elsewhere: set[str] = set()
        for row in (PhotoRow, InstallPhotoRow, CarePhotoRow):
            elsewhere.update(self._session.scalars(select(row.digest).where(row.digest.in_(digests))))
        return len(digests), tuple(digest for digest in digests if digest not in elsewhere)


class InstallPhotos(Photos):
    row = InstallPhotoRow
    key = "install"


class CarePhotos:
    def __init__(self, session: Session) -> None:
        self._session = session

    def add(self, digest: str, image: bytes | None) -> None:
        self._session.merge(CarePhotoRow(digest=digest, image=image))
        self._session.flush()

    def image(self, digest: str) -> bytes | None:
        """What is kept in the database. NotFoundError for a photo that nobody sent."""
        found = self._session.execute(select(CarePhotoRow.image).where(CarePhotoRow.digest == digest)).first()
        if found is None:
            raise NotFoundError("there is no such photo")
        image: bytes | None = found[0]
        return image
