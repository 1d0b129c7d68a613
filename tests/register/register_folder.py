"""A small good fleet folder that tests spoil in one place. All of it is invented."""

from __future__ import annotations

from pathlib import Path

from pumpledger.register.load import Register, load_register

GOOD: dict[str, str] = {
    "fleet.toml": (
        '# This data is made up.\nname = "Two pools"\nmade_up = true\nzone = "America/Los_Angeles"\nunits = "metric"\n'
        '[[source]]\nname = "gateway"\nfiles = "*.csv"\ndialect = "samples_5min"\n'
    ),
    "sites.csv": (
        "site_id,site_name,zone,pool_volume_m3,tariff,weather\n"
        "S-1,First Pool,,80,evening,hill\n"
        "S-2,Second Pool,America/Phoenix,60,evening,hill\n"
    ),
    "pumps.csv": (
        "pump_id,site_id,curve,design_flow_m3h,design_head_m,priming_speed_rpm,priming_min\n"
        "P-1,S-1,mid,15,9,2600,5\n"
        "P-2,S-2,mid,14,8,,\n"
    ),
    "plans.csv": (
        "pump_id,valid_from,period,speed_rpm,start,stop\n"
        "P-1,2026-10-01,1,1500,08:00,16:00\n"
        "P-1,2026-10-01,2,2400,16:00,18:00\n"
        "P-2,2026-10-01,1,1800,22:00,06:00\n"
    ),
    "pump_curves.csv": "curve,speed_rpm,flow_m3h,head_m\nmid,3450,0,20\nmid,3450,15,16\nmid,3450,30,8\n",
    "visits.csv": (
        "site_id,pump_id,day_local,work,speed_rpm,flow_m3h,note\n"
        "S-1,P-1,2026-10-02,commissioning,2400,12,\n"
        "S-2,,2026-10-03,check,,,gate code changed\n"
    ),
    "tariffs/evening.toml": (
        '[[band]]\nname = "peak"\ndays = "weekday"\nstart = "16:00"\nstop = "21:00"\nprice_per_kwh = 0.42\n'
        "peak = true\n"
        '[[band]]\nname = "rest"\ndays = "weekday"\nstart = "21:00"\nstop = "16:00"\nprice_per_kwh = 0.2\n'
        '[[band]]\nname = "weekend"\ndays = "weekend"\nprice_per_kwh = 0.2\n'
    ),
    "weather/hill.csv": "time_utc,air_temperature_c\n2026-11-01T07:00:00Z,10\n2026-11-01T08:00:00Z,-5\n",
}


class Folder:
    """The folder under ``root``; edits are made to its text before it is loaded."""

    def __init__(self, root: Path) -> None:
        self.root = root
        for name, text in GOOD.items():
            self.write(name, text)

    def write(self, name: str, content: str | bytes) -> Folder:
        path = self.root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return self

    def swap(self, name: str, old: str, new: str) -> Folder:
        """Put ``new`` for the one place that reads ``old``."""
        text = (self.root / name).read_bytes().decode()
        assert text.count(old) == 1, (name, old, text.count(old))
        return self.write(name, text.replace(old, new))

    def add(self, name: str, line: str) -> Folder:
        """Add a line at the end."""
        return self.write(name, (self.root / name).read_bytes().decode() + line + "\n")

    def remove(self, name: str) -> Folder:
        (self.root / name).unlink()
        return self

    def load(self) -> Register:
        return load_register(self.root)
