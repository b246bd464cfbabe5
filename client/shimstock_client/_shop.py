"""The shop, its calendar, its setup specs, its keys and the calculations."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, Unpack
from uuid import UUID

from ._collection import Link, etag_of, id_of, read
from ._contract import Absence, ApiKey, Instrument, InstrumentModel, Job, SetupSpec, Shop, Technician
from ._contract.lists import absences, keys, setup_specs
from ._writes import CallOptions, WriteOptions, apart

if TYPE_CHECKING:
    from ._contract import AbsenceFields, InstrumentKind, ShopChangeFields, ShopFields, SpecItemIn


class ShopSettings:
    """The shop's settings: one object."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def get(self, **call: Unpack[CallOptions]) -> Shop:
        """Read them."""
        return read(Shop, self._link.ask("/shop", **call))

    def put(self, *, shop: Shop | None = None, **fields: Unpack[ShopFields]) -> Shop:
        """Set all of them; `shop` is the one read before, None when there is none yet."""
        body, call = apart(fields)
        return read(
            Shop, self._link.change("PUT", "/shop", body, if_match=shop.etag if shop else None, **call)
        )

    def update(self, shop: Shop, **fields: Unpack[ShopChangeFields]) -> Shop:
        """Change the fields that are named; of `prices` too only what is named, None takes it back."""
        body, call = apart(fields)
        etag = etag_of(self._link, "/shop", shop, Shop)
        return read(Shop, self._link.change("PATCH", "/shop", body, if_match=etag, **call))


class Absences(absences.Absences):
    """Days and hours on which technicians are away."""

    def create(
        self,
        technician: Technician | UUID | str,
        first: date | str,
        last: date | str | None = None,
        **hours: Unpack[AbsenceFields],
    ) -> Absence:
        """Add one; `starts` and `ends` for hours of a single day.

        Its `uncovered` names the bookings of these days for which nobody else has bench minutes left.
        """
        told, call = apart(hours)
        body = {"technician_id": id_of(technician), "first": first, "last": last or first, **told}
        return self._create(body, **call)


class SetupSpecs(setup_specs.SetupSpecs):
    """Targets with limits of a kind, a model, an instrument, a job; the most specific wins."""

    def of_shop(self, kind: InstrumentKind, **call: Unpack[CallOptions]) -> SetupSpec:
        """Read the shop's for a kind of instrument."""
        return read(SetupSpec, self._link.ask(self._of_shop(kind), **call))

    def of_model(self, model: InstrumentModel | UUID | str, **call: Unpack[CallOptions]) -> SetupSpec:
        """Read a model's own."""
        return read(SetupSpec, self._link.ask(f"/instrument-models/{id_of(model)}/setup-spec", **call))

    def of_instrument(self, instrument: Instrument | UUID | str, **call: Unpack[CallOptions]) -> SetupSpec:
        """Read what holds for an instrument, with where each item comes from."""
        return read(SetupSpec, self._link.ask(f"/instruments/{id_of(instrument)}/setup-spec", **call))

    def of_job(self, job: Job | UUID | str, **call: Unpack[CallOptions]) -> SetupSpec:
        """Read what holds for a job, with where each item comes from."""
        return read(SetupSpec, self._link.ask(f"/jobs/{id_of(job)}/setup-spec", **call))

    def put_shop(self, kind: InstrumentKind, items: Sequence[SpecItemIn], **more: Any) -> SetupSpec:
        """Set the shop's for a kind of instrument."""
        return self._put(self._of_shop(kind), items, **more)

    def put_model(
        self, model: InstrumentModel | UUID | str, items: Sequence[SpecItemIn], **more: Any
    ) -> SetupSpec:
        """Set a model's own."""
        return self._put(f"/instrument-models/{id_of(model)}/setup-spec", items, **more)

    def put_instrument(
        self, instrument: Instrument | UUID | str, items: Sequence[SpecItemIn], **more: Any
    ) -> SetupSpec:
        """Set an instrument's own."""
        return self._put(f"/instruments/{id_of(instrument)}/setup-spec", items, **more)

    def put_job(self, job: Job | UUID | str, items: Sequence[SpecItemIn], **more: Any) -> SetupSpec:
        """Set what the player asked for on this job."""
        return self._put(f"/jobs/{id_of(job)}/setup-spec", items, **more)

    @staticmethod
    def _of_shop(kind: InstrumentKind) -> str:
        return f"/setup-specs/shop/{id_of(kind)}"

    def _put(
        self,
        path: str,
        items: Sequence[SpecItemIn],
        *,
        current: SetupSpec | None = None,
        reason: str | None = None,
        **call: Unpack[WriteOptions],
    ) -> SetupSpec:
        body: dict[str, Any] = {"items": [*items]}
        if reason is not None:
            body["reason"] = reason
        etag = current.etag if current else None
        return read(SetupSpec, self._link.change("PUT", path, body, if_match=etag, **call))


class Calculations:
    """Each formula of the calculation module by name."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def list(self, **call: Unpack[CallOptions]) -> Sequence[Mapping[str, Any]]:
        """Name them, with their example bodies."""
        items = self._link.ask("/calculations", **call).object().get("items")
        return items if isinstance(items, Sequence) else []

    def run(self, name: str, **quantities: Any) -> Mapping[str, Any]:
        """Work one out: quantities in, quantities out."""
        body, call = apart(quantities)
        return self._link.change("POST", f"/calculations/{id_of(name)}", body, **call).object()


class Keys(keys.Keys):
    """API keys; the secret of one is in the answer that makes it and nowhere else."""

    def revoke(self, key: ApiKey | UUID | str, **call: Unpack[WriteOptions]) -> None:
        """Make a key useless from now on."""
        etag = key.etag if isinstance(key, ApiKey) else None
        self._link.change("DELETE", self._one(key), if_match=etag, **call)
