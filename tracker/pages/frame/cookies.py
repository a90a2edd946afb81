"""How the session's cookie travels, and how long what the service has signed holds."""

from datetime import datetime
from typing import Any

from flask import Flask, request
from flask.sessions import SecureCookieSessionInterface, SessionMixin
from itsdangerous import SignatureExpired, TimestampSigner, URLSafeTimedSerializer


class PatientSigner(TimestampSigner):
    """Signs with the time. What was signed later than now was signed just now: the service's clock was set back.

    itsdangerous takes it for expired, so that a clock that was ahead for a moment would sign everybody out.
    """

    def unsign(self, signed_value: str | bytes, max_age: int | None = None, return_timestamp: bool = False) -> Any:
        """Return the value, with when it was signed if that is wanted. Raises BadSignature."""
        value, signed = super().unsign(signed_value, return_timestamp=True)
        if max_age is not None and self._age(signed) > max_age:
            raise SignatureExpired(f"signed more than {max_age} s ago", payload=value, date_signed=signed)
        return (value, signed) if return_timestamp else value

    def _age(self, signed: datetime) -> float:
        return self.get_timestamp() - signed.timestamp()


class Sessions(SecureCookieSessionInterface):
    """Signed cookies as Flask keeps them, marked Secure where the request came by https.

    A service on the shop's own network may have no TLS, and one behind TLS must not leak its sessions to plain http:
    the request alone tells which of the two this is.
    """

    def get_cookie_secure(self, app: Flask) -> bool:
        """Return whether the browser may send the cookie by https alone."""
        return request.is_secure

    def should_set_cookie(self, app: Flask, session: SessionMixin) -> bool:
        """Let only a page that somebody opens make the cookie last longer.

        The answer to a script may come after somebody else has signed in, and would put the session before back.
        """
        opens = any(kind == "text/html" for kind, _quality in request.accept_mimetypes)
        return session.modified or (session.permanent and opens)

    def get_signing_serializer(self, app: Flask) -> URLSafeTimedSerializer | None:
        """Return what signs the cookies; None without a key."""
        made = super().get_signing_serializer(app)
        if made is not None:
            made.signer = PatientSigner
        return made
