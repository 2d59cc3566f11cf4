"""Photos of a ticket, beside its log: by number, each once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ForeignKey, LargeBinary, String, UniqueConstraint, delete, insert, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.store.tables.models import Base


class PhotoRow(Base):
    """`image` is a JPEG; None where it lies in the folder of photos, under its digest."""

    __tablename__ = "photos"
    __table_args__ = (UniqueConstraint("ticket", "digest"),)

    ticket: Mapped[str] = mapped_column(ForeignKey("tickets.id"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    digest: Mapped[str] = mapped_column(String(64))
    at: Mapped[datetime]
    who: Mapped[str]
    image: Mapped[bytes | None] = mapped_column(LargeBinary)


@dataclass(frozen=True, slots=True)
class Photo:
    """`digest` is the SHA-256 of the image, in hexadecimal digits."""

    number: int
    digest: str
    at: datetime
    who: str


class Photos:
    def __init__(self, session: Session) -> None:
        self._session = session

    def of_ticket(self, ticket: str) -> tuple[Photo, ...]:
        query = select(PhotoRow.number, PhotoRow.digest, PhotoRow.at, PhotoRow.who)
        rows = self._session.execute(query.where(PhotoRow.ticket == ticket).order_by(PhotoRow.number))
        return tuple(Photo(*row) for row in rows)

    def image(self, ticket: str, number: int) -> bytes | None:
        """What is kept in the database; None where it is not there."""
        where = PhotoRow.ticket == ticket, PhotoRow.number == number
        return self._session.scalar(select(PhotoRow.image).where(*where))

    def add(self, ticket: str, photo: Photo, image: bytes | None) -> None:
        values = {"number": photo.number, "digest": photo.digest, "at": photo.at, "who": photo.who}
        self._session.connection().execute(insert(PhotoRow).values(ticket=ticket, image=image, **values))

    def forget(self, ticket: str) -> tuple[int, tuple[str, ...]]:
        """Erases a ticket's photos: how many, and the digests of those that no other ticket has."""
        digests = self._session.scalars(select(PhotoRow.digest).where(PhotoRow.ticket == ticket)).all()
        self._session.execute(delete(PhotoRow).where(PhotoRow.ticket == ticket))
        kept = self._session.scalars(select(PhotoRow.digest).where(PhotoRow.digest.in_(digests))).all()
        return len(digests), tuple(digest for digest in digests if digest not in kept)
