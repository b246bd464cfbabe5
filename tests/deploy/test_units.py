"""The service units and the container file that are shipped."""

from __future__ import annotations

from configparser import ConfigParser

import pytest

from tests.house.files import CHECKOUT


@pytest.mark.parametrize("name", ["shimstock", "shimstock-worker"])
def test_what_keeps_running_has_a_limit_of_memory(name: str) -> None:
    unit = ConfigParser(interpolation=None, strict=False)
    unit.read_string((CHECKOUT / "deploy" / "systemd" / f"{name}.service").read_text())
    assert unit["Service"]["MemoryMax"] == "2G"
    assert unit["Service"]["Restart"] == "on-failure"


def test_so_have_the_containers() -> None:
    compose = (CHECKOUT / "deploy" / "container" / "compose.yaml").read_text()
    for service in ("service", "worker"):
        part = compose.partition(f"\n  {service}:\n")[2].partition("\n\n")[0]
        assert "mem_limit: 2g" in part, service
