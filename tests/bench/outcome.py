"""What a benchmark says: one JSON object, or a short table for people."""

import dataclasses
import json
import os
import platform
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

from tests.bench.rounds import Spread

Figures = Mapping[str, Any]

# Processes that wanted a core in the minute before this one began (uptime(1)).
LOAD_BEFORE = os.getloadavg()[0]


@dataclass(frozen=True)
class Target:
    """What a figure should reach; the value is judged, whatever the machine."""

    value: float
    at_least: float | None = None
    at_most: float | None = None

    @property
    def is_met(self) -> bool:
        return (self.at_least is None or self.value >= self.at_least) and (
            self.at_most is None or self.value <= self.at_most
        )


@dataclass(frozen=True)
class Outcome:
    """The figures of the subject, of a peer and of a limit, and what follows from them."""

    name: str
    figures: Figures
    peer: Figures
    limit: Figures
    ratios: Figures
    targets: Mapping[str, Target]

    def as_json(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "figures": _plain(self.figures),
            "peer": _plain(self.peer),
            "limit": _plain(self.limit),
            "ratios": _plain(self.ratios),
            "targets": {
                name: {
                    word: bound
                    for word, bound in (("at_least", each.at_least), ("at_most", each.at_most))
                    if bound is not None
                }
                for name, each in self.targets.items()
            },
            "met": {name: each.is_met for name, each in self.targets.items()},
            "machine": machine(),
        }


def machine() -> dict[str, Any]:
    """Return what the figures were measured on, and how busy others kept it before."""
    return {
        "cpu": _processor(),
        "cores": len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else _cores(),
        "memory_gib": round(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30, 1),
        "kernel": f"{platform.system()} {platform.release()}",
        "python": platform.python_version(),
        "load_before": round(LOAD_BEFORE, 2),
    }


def versions(servers: Mapping[str, str]) -> dict[str, str]:
    """Return the versions of Penult, of the servers, and of the libraries that matter here."""
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    packages = {
        "django": "Django",
        "drf": "djangorestframework",
        "psycopg": "psycopg",
        "gunicorn": "gunicorn",
        "celery": "celery",
        "numpy": "numpy",
        "msgspec": "msgspec",
    }
    installed = {name: metadata.version(package) for name, package in packages.items()}
    return {"penult": project["version"], **servers, **installed}


def as_table(report: Mapping[str, Any]) -> str:
    """Return the report as lines of name and value."""
    lines = [f"{report['name']}"]
    for part in ("figures", "peer", "limit", "ratios"):
        lines += [f"  {part}", *(f"    {line}" for line in _lines(report[part]))]
    lines.append("  targets")
    for name, bounds in report["targets"].items():
        wanted = " and ".join(f"{word.replace('_', ' ')} {bound}" for word, bound in bounds.items())
        lines.append(f"    {name:<44} {'met' if report['met'][name] else 'MISSED'} ({wanted})")
    for part in ("machine", "versions"):
        lines.append(f"  {part}: " + ", ".join(f"{k} {v}" for k, v in report[part].items()))
    return "\n".join(lines)


def dump(report: Mapping[str, Any]) -> str:
    """Return the report as one line of strict JSON."""
    return json.dumps(report, allow_nan=False)


def _lines(figures: Mapping[str, Any], above: str = "") -> Iterator[str]:
    for name, value in figures.items():
        label = f"{above}{name}"
        if isinstance(value, dict) and "median" in value:
            low, high = value["quartiles"]
            middle = f"{value['median']:.4g}"
            yield f"{label:<44} {middle}  (quartiles {low:.4g} to {high:.4g}, n = {value['n']})"
        elif isinstance(value, dict):
            yield from _lines(value, f"{label}.")
        else:
            shown = f"{value:.4g}" if isinstance(value, float) else str(value)
            yield f"{label:<44} {shown}"


def _plain(value: Any) -> Any:
    """Return what JSON can say; six digits are more than any timing deserves."""
    if isinstance(value, Spread):
        return _plain(dataclasses.asdict(value))
    if isinstance(value, Mapping):
        return {name: _plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if isinstance(value, float):
        return float(f"{value:.6g}")
    return value


def _cores() -> int:
    return os.cpu_count() or 1


def _processor() -> str:
    listed = Path("/proc/cpuinfo")
    if listed.exists():
        for line in listed.read_text().splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.processor() or platform.machine()
