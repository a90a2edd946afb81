"""How the session's cookie travels: never by plain http once it came by https."""

from flask import Flask, request
from flask.sessions import SecureCookieSessionInterface


class Sessions(SecureCookieSessionInterface):
    """Signed cookies as Flask keeps them, marked Secure where the request came by https.

    A service on the shop's own network may have no TLS, and one behind TLS must not leak its sessions to plain http:
    the request alone tells which of the two this is.
    """

    def get_cookie_secure(self, app: Flask) -> bool:
        """Return whether the browser may send the cookie by https alone."""
        return request.is_secure
