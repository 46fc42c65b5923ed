"""What goes wrong with a payload, on its way from where it is seen to where it is refused."""

from agent.decode.results import Reason


class PayloadError(Exception):
    """A payload, or a part of it, that cannot be used.

    It never leaves the decoder, which makes a `Refusal` of it: inside, trouble seen deep in a
    document is told in one place; outside, it is a value.

    Attributes
    ----------
    reason : Reason
        Why, as it is counted.
    detail : str
        Where, what was found, what was expected.
    """

    def __init__(self, reason: Reason, detail: str) -> None:
        super().__init__(detail)
        self.reason = reason
        self.detail = detail
