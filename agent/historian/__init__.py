"""The plant's time-series database: what it is sent, and how nothing is lost on the way."""
