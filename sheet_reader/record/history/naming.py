"""What a photo is called: a neutral name outside, with the file's own name for her eyes only; and
the identity of a page.
"""

from __future__ import annotations

import uuid

from sqlalchemy import Connection, select

from sheet_reader.record.store import schema
from sheet_reader.wording import neutral_name as neutral_name


def both_names(photo_id: int, name: str) -> str:
    """The file's name with the neutral one beside it, for messages on her own terminal.

    >>> both_names(27, "garden.jpg")
    'garden.jpg (photo-0027)'
    """
    neutral = neutral_name(photo_id)
    return neutral if name in ("", neutral) else f"{name} ({neutral})"


def new_identity(connection: Connection, photo_id: int, *code: object) -> str:
    """The identity of a page that is kept now, of its photo and the ``code`` that tells it from
    others in it: a UUID (RFC 9562, version 5), so that a record made anew of the same photos has
    the same ones.
    """
    p = schema.photos.c
    digest = connection.scalar(select(p.sha256).where(p.id == photo_id))
    return str(uuid.uuid5(uuid.NAMESPACE_OID, " ".join(map(str, ("page", digest, *code)))))
