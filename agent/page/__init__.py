"""What people look at: a web page served by the agent, in a thread of its own.

It reads what the worker has committed, and writes only by publishing the messages that people and
stations use: one path in. It never computes what `advisor` computes, and never makes the worker
wait.
"""
