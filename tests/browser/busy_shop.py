"""A shop on a busy Tuesday, for the pages that show it; every name is invented."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID

from shimstock_server.clock import FixedClock
from tests.server.clients import Client
from tests.server.workshop import Workshop, set_up, two_post_electric

MODELS = ("Heron", "Great Bittern de Luxe Twelve-Fret", "Wren", "Kingfisher Baritone", "Dipper 4")
TECHNICIANS = ("Mirela Quentrop", "Odo Farrenkamp", "Tamsin Ebberly", "Jorun Achterberg")
BENCHES = ("window bench", "acoustic bench", "counter bench", "loft bench")
OWNER = "Robin Example"


def open_shop(manager: Client, clock: FixedClock, *, queued: int = 14) -> Workshop:
    """Set up a shop in which everything is going on at once: 10:40 on a Tuesday."""
    shop = set_up(manager)
    for name in MODELS[1:]:
        model = two_post_electric(name) | {
            "string_set_id": shop.ids["strings"], "tuning_id": shop.ids["tuning"]}  # fmt: skip
        shop.add(f"model {name}", "/v1/instrument-models", model)
        shop.add(f"instrument {name}", "/v1/instruments",
                 {"model_id": shop.ids[f"model {name}"], "owner_id": shop.ids["owner"]})  # fmt: skip
    shop.ids["instrument Heron"] = shop.ids["instrument"]
    skills = ["setup", "fretwork", "tremolo", "acoustic"]
    people = [shop.add(name, "/v1/technicians", {"name": name, "skills": skills}) for name in TECHNICIANS]
    benches = [shop.add(name, "/v1/benches", {"name": name}) for name in BENCHES]
    at = [_bench(shop, bench["id"], person["id"]) for bench, person in zip(benches, people, strict=True)]
    yesterday = clock.now()
    _take(shop, at[3], priority=9)
    clock.advance(timedelta(hours=22, minutes=40))
    late, today = (yesterday - timedelta(days=3)).date(), clock.now().date()
    for n, wish in enumerate(
        ({"promised_on": late.isoformat()}, {"promised_on": today.isoformat()}, {"priority": 8})
    ):
        _take(shop, at[n], model=MODELS[n + 1], **wish)
    settling = [_take(shop, at[n % 3], model=MODELS[n % 5], priority=7) for n in range(4)]
    for n, job in enumerate(settling):
        until = clock.now() + timedelta(minutes=(5, 25, 55, 24 * 60)[n])
        _move(at[n % 3], job, "settling", claim=job["claim"]["id"], available_at=until.isoformat())
    final = _take(shop, at[2], model=MODELS[4])
    _move(at[2], final, "final-check", claim=final["claim"]["id"])
    for n in range(queued):
        _job(shop, MODELS[n % 5], **_wish(n, today, late))
    for n, what in enumerate(("parts", "owner", "consent")):
        waiting = _job(shop, MODELS[n], promised_on=(today + timedelta(days=n)).isoformat())
        _move(manager, waiting, "waiting", waiting_for=what)
    shop.job()
    ready = _take(shop, at[1])
    ready = _move(at[1], ready, "final-check", claim=ready["claim"]["id"])
    _move(at[1], ready, "ready", claim=ready["claim"]["id"], reason="read on paper")
    clock.advance(timedelta(minutes=10))
    return shop


def _wish(n: int, today: Any, late: Any) -> dict[str, Any]:
    if n == 0:
        return {"promised_on": late.isoformat(), "skills": ["fretwork"]}
    if n == 1:
        return {"promised_on": today.isoformat()}
    wish: dict[str, Any] = {"promised_on": (today + timedelta(days=n)).isoformat()} if n % 3 else {}
    return wish | ({"priority": 8, "skills": ["tremolo", "setup"]} if n == 4 else {})


def _bench(shop: Workshop, bench_id: str, technician_id: str) -> Client:
    made = shop.manager.post("/v1/keys", json={"name": bench_id, "scope": "bench", "bench_id": bench_id})
    assert made.status_code == 201, made.get_data(as_text=True)
    token = made.get_json()["secret"]
    return Client(shop.manager.app, token, technician_id=UUID(technician_id), bench_id=UUID(bench_id))


def _job(shop: Workshop, model: str = MODELS[0], **wish: Any) -> dict[str, Any]:
    return shop.queued_job(instrument_id=shop.ids[f"instrument {model}"], **wish)


def _take(shop: Workshop, bench: Client, model: str = MODELS[0], **wish: Any) -> dict[str, Any]:
    job = _job(shop, model, **wish)
    taken = bench.post(f"/v1/jobs/{job['id']}/claim", json={})
    assert taken.status_code == 200, taken.get_data(as_text=True)
    found: dict[str, Any] = taken.get_json()
    return found


def _move(client: Client, job: dict[str, Any], to: str, **more: Any) -> dict[str, Any]:
    moved = client.post(f"/v1/jobs/{job['id']}/moves", json={"to": to, **more}, etag=f'"{job["version"]}.mm"')
    assert moved.status_code == 200, moved.get_data(as_text=True)
    found: dict[str, Any] = moved.get_json()
    return found
