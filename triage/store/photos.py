"""Photos of a ticket or an installation, beside its log: by number, each once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, LargeBinary, String, UniqueConstraint, delete, insert, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.store.tables.models import Base


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
        for row in (PhotoRow, InstallPhotoRow):
            elsewhere.update(self._session.scalars(select(row.digest).where(row.digest.in_(digests))))
        return len(digests), tuple(digest for digest in digests if digest not in elsewhere)


class InstallPhotos(Photos):
    row = InstallPhotoRow
    key = "install"
