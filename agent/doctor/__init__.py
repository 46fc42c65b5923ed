"""`millpond doctor`: what is well with a plant's agent, broker and store, and what is not."""
