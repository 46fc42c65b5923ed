"""The one error that the computation raises."""


class AdvisorError(ValueError):
    """An argument that no plant can have.

    Attributes
    ----------
    quantity : str
        What was wrong, as the caller named it.
    value : object
        The value that was given.
    expected : str
        What would have been accepted.
    """

    def __init__(self, quantity: str, value: object, expected: str) -> None:
        super().__init__(f"{quantity} is {value!r}; expected {expected}")
        self.quantity = quantity
        self.value = value
        self.expected = expected
