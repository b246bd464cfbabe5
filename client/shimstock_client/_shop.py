"""The shop, its calendar, its setup specs, its keys and the calculations."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from ._bench_records import Job
from ._collection import Link, Listed, etag_of, id_of, read
from ._records import Absence, ApiKey, Closure, Instrument, InstrumentModel, SetupSpec, Shop, Technician


class ShopSettings:
    """The shop's settings: one object."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def get(self) -> Shop:
        """Read them."""
        return read(Shop, self._link.ask("/shop"))

    def put(self, *, shop: Shop | None = None, **fields: Any) -> Shop:
        """Set all of them; `shop` is the one read before, None when there is none yet."""
        return read(Shop, self._link.change("PUT", "/shop", fields, if_match=shop.etag if shop else None))

    def update(self, shop: Shop, **fields: Any) -> Shop:
        """Change the fields that are named; of `prices` too only what is named, None takes it back."""
        etag = etag_of(self._link, "/shop", shop, Shop)
        return read(Shop, self._link.change("PATCH", "/shop", fields, if_match=etag))


class Closures(Listed[Closure]):
    """Days on which the shop keeps other hours, or none."""

    def create(self, *, day: Any, reason: str, idempotency_key: str | None = None, **fields: Any) -> Closure:
        """Add one."""
        body = {"day": day, "reason": reason, **fields}
        return read(Closure, self._link.change("POST", self._path, body, idempotency_key=idempotency_key))

    def delete(self, closure: Closure) -> None:
        """Take one back."""
        path = self._one(closure)
        self._link.change("DELETE", path, if_match=etag_of(self._link, path, closure, Closure))


class Absences(Listed[Absence]):
    """Days and hours on which technicians are away."""

    def create(
        self,
        technician: Technician | UUID | str,
        first: date | str,
        last: date | str | None = None,
        *,
        idempotency_key: str | None = None,
        **hours: Any,
    ) -> Absence:
        """Add one; `starts` and `ends` for hours of a single day.

        Its `uncovered` names the bookings of these days for which nobody else has bench minutes left.
        """
        body = {"technician_id": id_of(technician), "first": first, "last": last or first, **hours}
        return read(Absence, self._link.change("POST", self._path, body, idempotency_key=idempotency_key))

    def delete(self, absence: Absence) -> None:
        """Take one back."""
        path = self._one(absence)
        self._link.change("DELETE", path, if_match=etag_of(self._link, path, absence, Absence))


class SetupSpecs:
    """Targets with limits of a kind, a model, an instrument, a job; the most specific wins."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def list(self, **filters: Any) -> Iterator[SetupSpec]:
        """Walk the current ones."""
        return self._link.walk("/setup-specs", SetupSpec, **filters)

    def get(self, spec: SetupSpec | UUID | str) -> SetupSpec:
        """Read one, of any version."""
        return read(SetupSpec, self._link.ask(f"/setup-specs/{id_of(spec)}"))

    def of_shop(self, kind: str) -> SetupSpec:
        """Read the shop's for a kind of instrument."""
        return read(SetupSpec, self._link.ask(self._of_shop(kind)))

    def of_model(self, model: InstrumentModel | UUID | str) -> SetupSpec:
        """Read a model's own."""
        return read(SetupSpec, self._link.ask(f"/instrument-models/{id_of(model)}/setup-spec"))

    def of_instrument(self, instrument: Instrument | UUID | str) -> SetupSpec:
        """Read what holds for an instrument, with where each item comes from."""
        return read(SetupSpec, self._link.ask(f"/instruments/{id_of(instrument)}/setup-spec"))

    def of_job(self, job: Job | UUID | str) -> SetupSpec:
        """Read what holds for a job, with where each item comes from."""
        return read(SetupSpec, self._link.ask(f"/jobs/{id_of(job)}/setup-spec"))

    def put_shop(self, kind: str, items: Sequence[Any], **more: Any) -> SetupSpec:
        """Set the shop's for a kind of instrument."""
        return self._put(self._of_shop(kind), items, **more)

    def put_model(self, model: InstrumentModel | UUID | str, items: Sequence[Any], **more: Any) -> SetupSpec:
        """Set a model's own."""
        return self._put(f"/instrument-models/{id_of(model)}/setup-spec", items, **more)

    def put_instrument(
        self, instrument: Instrument | UUID | str, items: Sequence[Any], **more: Any
    ) -> SetupSpec:
        """Set an instrument's own."""
        return self._put(f"/instruments/{id_of(instrument)}/setup-spec", items, **more)

    def put_job(self, job: Job | UUID | str, items: Sequence[Any], **more: Any) -> SetupSpec:
        """Set what the player asked for on this job."""
        return self._put(f"/jobs/{id_of(job)}/setup-spec", items, **more)

    @staticmethod
    def _of_shop(kind: str) -> str:
        return f"/setup-specs/shop/{id_of(kind)}"

    def _put(
        self, path: str, items: Sequence[Any], *, current: SetupSpec | None = None, reason: str | None = None
    ) -> SetupSpec:
        body: dict[str, Any] = {"items": [*items]}
        if reason is not None:
            body["reason"] = reason
        return read(
            SetupSpec, self._link.change("PUT", path, body, if_match=current.etag if current else None)
        )


class Calculations:
    """Each formula of the calculation module by name."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def list(self) -> Sequence[Mapping[str, Any]]:
        """Name them, with their example bodies."""
        items = self._link.ask("/calculations").object().get("items")
        return items if isinstance(items, Sequence) else []

    def run(self, name: str, **quantities: Any) -> Mapping[str, Any]:
        """Work one out: quantities in, quantities out."""
        return self._link.change("POST", f"/calculations/{id_of(name)}", quantities).object()


class Keys(Listed[ApiKey]):
    """API keys."""

    def create(self, *, idempotency_key: str | None = None, **fields: Any) -> ApiKey:
        """Make one; its secret is in this answer and nowhere else."""
        return read(ApiKey, self._link.change("POST", self._path, fields, idempotency_key=idempotency_key))

    def revoke(self, key: ApiKey | UUID | str) -> None:
        """Make a key useless from now on."""
        etag = key.etag if isinstance(key, ApiKey) else None
        self._link.change("DELETE", self._one(key), if_match=etag)
