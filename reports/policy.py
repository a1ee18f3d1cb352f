"""The content-security policy of a page: nothing loads, and only our own script and style run.

Sources: Content Security Policy Level 3 and Trusted Types (W3C).
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence

__all__ = ["content_policy", "source_hash"]


def source_hash(source: str) -> str:
    """The hash source of an inline script or style, as the policy spells it."""
    digest = hashlib.sha256(source.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def content_policy(*, scripts: Sequence[str], styles: Sequence[str]) -> str:
    """The policy under which exactly these inline scripts and styles are allowed."""
    allowed = {
        "default-src": "'none'",
        "script-src": " ".join(map(source_hash, scripts)) or "'none'",
        "style-src": " ".join(map(source_hash, styles)) or "'none'",
        "img-src": "data:",
        "media-src": "'self' blob:",
        "base-uri": "'none'",
        "form-action": "'none'",
        "require-trusted-types-for": "'script'",
        "trusted-types": "'none'",
    }
    return "; ".join(f"{directive} {sources}" for directive, sources in allowed.items())
