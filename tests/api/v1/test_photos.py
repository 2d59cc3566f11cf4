"""Photos of a ticket over the API and the technician's page: decoded, written anew, kept once, shown."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from PIL import Image

from tests.api.field.test_own import phone
from tests.triage.services import AGENT, REPORT
from triage.inputs.photo import LONGEST_PIXELS, MOST_BYTES, read_photo
from triage.service import tickets
from triage.service.service import Service
from triage.values.errors import InputError

GPS, ORIENTATION, MAKER = 0x8825, 0x0112, 0x010F
SIDEWAYS = 6


def picture(kind: str = "JPEG", size: tuple[int, int] = (60, 40), color: str = "teal") -> bytes:
    """A picture with what a phone adds: who made it, how it was held, where it was taken."""
    exif = Image.Exif()
    exif[MAKER], exif[ORIENTATION] = "Lanternway", SIDEWAYS
    exif.get_ifd(GPS)[1] = "N"
    written = BytesIO()
    Image.new("RGB", size, color).save(written, kind, exif=exif)
    return written.getvalue()


@pytest.fixture
def ticket(service: Service) -> str:
    return tickets.open_ticket(service, REPORT, AGENT).id


def sent(client: FlaskClient, tokens: dict[str, str], ticket: str, data: bytes, by: str = "fogline"):  # type: ignore[no-untyped-def]
    headers = {"Authorization": f"Bearer {tokens[by]}"}
    path = f"/v1/tickets/{ticket}/photos"
    return client.post(path, data=data, content_type="image/jpeg", headers=headers)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photo_is_written_anew_upright_and_without_what_a_camera_adds(kind: str) -> None:
    with Image.open(BytesIO(read_photo(picture(kind)))) as seen:
        assert (seen.format, seen.size) == ("JPEG", (40, 60))
        assert not seen.getexif()
        assert set(seen.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_a_large_photo_is_made_small() -> None:
    with Image.open(BytesIO(read_photo(picture(size=(4000, 1000))))) as seen:
        assert max(seen.size) == LONGEST_PIXELS


def palette_bomb() -> bytes:
    """Some kilobytes that would be a hundred megapixels."""
    written = BytesIO()
    Image.new("1", (9000, 9000)).save(written, "PNG")
    return written.getvalue()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no photo that can be read"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no photo that can be read"),
        (picture()[:300], "no photo that can be read"),
        (b"GIF89a" + bytes(100), "no photo that can be read"),
        (palette_bomb(), "at most 64 megapixels"),
        (bytes(MOST_BYTES + 1), "at most 8 MB"),
    ],
)
def test_what_is_no_photo_is_refused_with_the_reason(data: bytes, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_photo(data)


def test_a_photo_is_kept_once_and_read_back(client: FlaskClient, tokens: dict[str, str], ticket: str) -> None:
    first, again = sent(client, tokens, ticket, picture()), sent(client, tokens, ticket, picture())
    assert (first.status_code, again.json) == (201, first.json)
    assert sent(client, tokens, ticket, picture(color="red")).json["number"] == 2
    reader = {"Authorization": f"Bearer {tokens['reporter']}"}
    found = client.get(f"/v1/tickets/{ticket}/photos", headers=reader).json["items"]
    assert [(one["number"], one["who"]) for one in found] == [(1, "fogline"), (2, "fogline")]
    image = client.get(found[0]["image"], headers=reader)
    assert (image.content_type, image.data) == ("image/jpeg", read_photo(picture()))


def test_photos_of_another_contractor_are_not_found_and_reporters_send_none(
    client: FlaskClient, tokens: dict[str, str], ticket: str
) -> None:
    sent(client, tokens, ticket, picture())
    assert sent(client, tokens, ticket, picture(), by="tern").status_code == 404
    assert sent(client, tokens, ticket, picture(), by="reporter").status_code == 403
    other = {"Authorization": f"Bearer {tokens['tern']}"}
    assert client.get(f"/v1/tickets/{ticket}/photos/1.jpg", headers=other).status_code == 404
    own = {"Authorization": f"Bearer {tokens['fogline']}"}
    assert client.get(f"/v1/tickets/{ticket}/photos/2.jpg", headers=own).status_code == 404


def test_bytes_that_are_no_photo_get_a_problem_with_its_place(
    client: FlaskClient, tokens: dict[str, str], ticket: str
) -> None:
    answer = sent(client, tokens, ticket, b"no photo")
    assert (answer.status_code, answer.json["errors"][0]["pointer"]) == (422, "/photo")
    assert sent(client, tokens, ticket, bytes(MOST_BYTES + 1)).status_code == 413


def test_by_setting_the_image_lies_in_a_folder(
    service: Service, client: FlaskClient, tokens: dict[str, str], ticket: str, tmp_path: Path
) -> None:
    service.photos = tmp_path / "photos"
    where = sent(client, tokens, ticket, picture()).json["image"]
    (path,) = service.photos.rglob("*.jpg")
    assert path.read_bytes() == read_photo(picture())
    assert path.stat().st_mode & 0o077 == 0
    own = {"Authorization": f"Bearer {tokens['fogline']}"}
    assert client.get(where, headers=own).data == path.read_bytes()
    path.unlink()
    assert client.get(where, headers=own).status_code == 404


def test_the_technicians_page_takes_a_photo_and_the_desk_shows_it(
    service: Service, client: FlaskClient, tokens: dict[str, str], ticket: str
) -> None:
    van, path = phone(service, tokens), f"/field/tickets/{ticket}/photos"
    assert "Choose a photo first." in van.post(path, data={}).text
    assert "no photo that can be read" in van.post(path, data={"photo": (BytesIO(b"x"), "x.jpg")}).text
    assert van.post(path, data={"photo": (BytesIO(picture()), "x.jpg")}).status_code == 303
    assert f'src="{path}/1"' in van.get(f"/field/tickets/{ticket}").text
    client.post("/sign-in", data={"token": tokens["agent"]})
    assert f'src="{path}/1"' in client.get(f"/tickets/{ticket}/end").text
    assert client.get(f"{path}/1").data == read_photo(picture())
    form = {"cause": "no_fault_found", "cured_by": "nothing", "key": "a" * 32}
    assert van.post(f"/field/tickets/{ticket}/close", data=form).status_code == 303
    closed = tickets.ticket(service, ticket, AGENT).closed
    assert closed is not None and closed.photos == ("photo-1",)
