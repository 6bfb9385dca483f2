"""Who may drive the page: this computer's own browser, from the page itself, and nobody else.

A web site that is open in the same browser can send requests to this computer. Three things stop
it: the name by which the page was called (a foreign name that was made to lead here is refused),
the page that a form was sent from, and a token that only the page's own forms carry.

References
----------
Open Worldwide Application Security Project, *Cross-Site Request Forgery Prevention Cheat Sheet*,
sections on tokens and on verifying the origin with standard headers (from memory).
"""

from __future__ import annotations

import hmac
import secrets
from urllib.parse import urlsplit

from flask import Flask, Response, abort, request

from reports.words import mark

HANDED_OUT = "handed_out."
# Handed-out maps carry their scripts inside; sandboxed, they can't read the page's token.
_MAP_RULES = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data: blob:; font-src data:; frame-ancestors 'self'; base-uri 'none'; "
    "form-action 'none'; sandbox allow-scripts allow-downloads"
)
_PAGE_RULES = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "font-src data:; connect-src 'self'; frame-src 'self'; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'"
)


def guard(app: Flask, *, port: int) -> None:
    """Refuse what doesn't come from the page itself, and say in each answer what it may load.

    Parameters
    ----------
    app
        The page; its templates get `token`.
    port
        The port that it is served on.
    """
    token = secrets.token_urlsafe(32)
    hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
    app.secret_key = secrets.token_bytes(32)
    app.config.update(
        SESSION_COOKIE_NAME=f"estate-{port}",
        SESSION_COOKIE_SAMESITE="Strict",
        SESSION_COOKIE_HTTPONLY=True,
    )

    @app.before_request
    def only_from_here() -> None:
        if request.host not in hosts:
            abort(403, mark("This page answers only to this computer's own browser."))
        if request.method in ("GET", "HEAD"):
            return
        came_from = request.headers.get("Origin") or request.headers.get("Referer", "")
        parts = urlsplit(came_from)
        if parts.scheme != "http" or parts.netloc != request.host:
            abort(403, mark("This was sent from another page. Nothing was changed."))
        given = request.form.get("token", "")
        if not hmac.compare_digest(given.encode(), token.encode()):
            abort(
                403,
                mark(
                    "The page was opened before the tool was started anew. Nothing was changed: "
                    "load the page again, then repeat what you did."
                ),
            )

    @app.context_processor
    def with_token() -> dict[str, str]:
        return {"token": token}

    @app.after_request
    def with_rules(answer: Response) -> Response:
        given_out = (request.endpoint or "").startswith(HANDED_OUT)
        answer.headers["Content-Security-Policy"] = _MAP_RULES if given_out else _PAGE_RULES
        answer.headers["X-Content-Type-Options"] = "nosniff"
        # "no-referrer" would hide the origin of the page's own forms.
        answer.headers["Referrer-Policy"] = "same-origin"
        answer.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        if request.endpoint != "static":
            answer.headers["Cache-Control"] = "no-store"
        return answer
