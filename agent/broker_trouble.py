"""Why there is no connection to a broker, in words that say what to do about it."""

import ssl

from agent.plant.plant import BrokerSettings

_EXPIRED, _NOT_YET = 10, 9
_UNKNOWN_CA = frozenset({2, 18, 19, 20, 21})
_OTHER_NAME = frozenset({62, 64})
"""X509_V_ERR_...: numbers of OpenSSL's x509_vfy.h, as `SSLCertVerificationError` has them."""

_NAMED = {True: "broker.ca_file does not", False: "this system does not"}
_ALERTS = (
    (("CERTIFICATE_REQUIRED", "HANDSHAKE_FAILURE"), "wants a certificate of the client's own"),
    (("ALERT_CERTIFICATE_EXPIRED",), "does not take our certificate: it has expired"),
    (("ALERT_CERTIFICATE_REVOKED",), "does not take our certificate: it was revoked"),
    (("ALERT_UNKNOWN_CA",), "does not take our certificate: it does not trust who signed it"),
    (("ALERT_BAD_CERTIFICATE", "ALERT_CERTIFICATE_UNKNOWN"), "does not take our certificate"),
)
"""Names of TLS alerts by which a server refuses a client, as OpenSSL writes them."""


def told(error: BaseException | None, settings: BrokerSettings) -> str:
    """Say what an attempt to connect met with.

    Parameters
    ----------
    error : BaseException, optional
        What was raised; `None`: nothing is known.
    settings : BrokerSettings
        Where the broker is, and which certificates are used.

    Returns
    -------
    str
        A clause that goes on after "broker HOST:PORT".
    """
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"is not trusted: {_of_its_certificate(error, settings)}"
    if isinstance(error, ssl.SSLError):
        return _of_a_handshake(error)
    return f"cannot be reached ({error or 'no reason known'})"


def _of_its_certificate(error: ssl.SSLCertVerificationError, settings: BrokerSettings) -> str:
    """What is wrong with the broker's certificate."""
    code = error.verify_code
    if code == _EXPIRED:
        return "its certificate has expired; the broker needs a new one (is this clock right?)"
    if code == _NOT_YET:
        return "its certificate is not valid yet; is this machine's clock right?"
    if code in _UNKNOWN_CA:
        knows = _NAMED[settings.ca_file is not None]
        return f"its certificate is signed by an authority that {knows} name"
    if code in _OTHER_NAME:
        return f"its certificate is not made out to {settings.host}, the host of broker.url"
    return f"its certificate is not good ({error.verify_message})"


def _of_a_handshake(error: ssl.SSLError) -> str:
    """What a TLS connection failed of before anybody spoke MQTT."""
    reason = error.reason or ""
    for names, words in _ALERTS:
        if any(name in reason for name in names):
            return f"{words}; see broker.cert_file and key_file"
    if reason == "WRONG_VERSION_NUMBER":
        return "does not speak TLS on this port; is it mqtt:// without encryption?"
    return f"fails the TLS handshake ({error.reason or error})"
