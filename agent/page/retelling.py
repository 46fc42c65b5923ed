"""Sentences of the computation, in the language of whoever reads them."""

from agent.page.speech import Speech


def retold(sentence: str, say: Speech) -> str:
    """A sentence in the person's language."""
    return sentence
