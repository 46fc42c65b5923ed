"""A plant of ten sumps for measurements."""

from pathlib import Path

HEAD = """
[plant]
id = "bench"
timezone = "UTC"

[broker]
url = "mqtt://127.0.0.1:{port}"

[store]
path = "bench.db"

[[concentrate]]
id = "semi-a"
refractometer_factor = 1.25
band_pct = [6.0, 10.0]
target_pct = 8.0
"""

SUMP = """
[[sump]]
id = "sump-{number}"
concentrate = "semi-a"
tank = {{ shape = "box", length_mm = 1500, width_mm = 700, height_mm = 450 }}
level_mm = {{ low = 180, target = 380, brim = 430 }}
holdup_l = 35
signals.level = {{ topic = "bench/{number}/level", unit = "mm", sd = 1.5 }}
signals.brix = {{ topic = "bench/{number}/brix", unit = "degBrix", sd = 0.08 }}
signals.running = {{ topic = "bench/{number}/running" }}
"""


def ten_sumps(folder: Path, port: int) -> Path:
    """Write the plant file; ten boxes with bare numbers on their topics."""
    path = folder / "bench.toml"
    sumps = "".join(SUMP.format(number=number) for number in range(10))
    path.write_text(HEAD.format(port=port) + sumps, "utf-8")
    return path
