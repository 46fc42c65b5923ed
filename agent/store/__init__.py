"""What is kept on disk: accepted evidence, checkpoints, and the messages that wait to be sent."""
