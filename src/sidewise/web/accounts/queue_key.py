"""The key of a person's queues: made once, sealed here, handed out only to a signed-in page."""

from __future__ import annotations

import secrets

from sidewise.web.accounts.models import QueueKey, User
from sidewise.web.accounts.sealing import seal, unseal

PURPOSE = "queue key"
KEY_BYTES = 32


def queue_key(user: User) -> bytes:
    """256 bits for AES-GCM in the browser; the same at every sign-in, so old queues open again."""
    fresh = seal(secrets.token_bytes(KEY_BYTES), PURPOSE)
    kept, _ = QueueKey.objects.get_or_create(user=user, defaults={"sealed": fresh})
    return unseal(kept.sealed, PURPOSE)
