"""A photo as it comes in: decoded, turned upright, made small, written anew without what a camera adds."""

from __future__ import annotations

from io import BytesIO

from PIL import Image, ImageOps

from triage.values.errors import InputError, Problem

MOST_BYTES = 8 * 1024 * 1024
MOST_PIXELS = 64_000_000
LONGEST_PIXELS = 2000
FORMATS = ("JPEG", "PNG", "WEBP")


def read_photo(data: bytes) -> bytes:
    """A JPEG of at most LONGEST_PIXELS a side. It holds no place, time or maker: nothing but what is seen.

    Raises InputError where the bytes are no photo, or too many.
    """
    if len(data) > MOST_BYTES:
        raise _refused(f"a photo has at most {MOST_BYTES // 1024 // 1024} MB; send a smaller one")
    try:
        with Image.open(BytesIO(data), formats=FORMATS) as image:
            if image.width * image.height > MOST_PIXELS:
                most = MOST_PIXELS // 1_000_000
                raise _refused(f"a photo has at most {most} megapixels; send a smaller one")
            image.draft("RGB", (LONGEST_PIXELS, LONGEST_PIXELS))
            seen = ImageOps.exif_transpose(image).convert("RGB")
    except InputError:
        raise
    except Exception:  # whatever a decoder says of bytes that are no image
        raise _refused("this is no photo that can be read; send a JPEG, PNG or WebP") from None
    seen.thumbnail((LONGEST_PIXELS, LONGEST_PIXELS))
    written = BytesIO()
    clean = Image.new("RGB", seen.size)
    clean.paste(seen)
    clean.save(written, "JPEG", quality=82, optimize=True)
    return written.getvalue()


def _refused(message: str) -> InputError:
    return InputError([Problem(message, "/photo")])
