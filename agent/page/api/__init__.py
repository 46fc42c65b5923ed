"""The page's second door: the same things as JSON over HTTP, for programs.

What a message on the broker is called and looks like, it is called and looks like here. Nothing is
decided here: what is entered goes out as the message that anybody may send.
"""
