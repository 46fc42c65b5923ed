"""The process: broker, decoding, store, schedule, publishing and command line around `advisor`."""
