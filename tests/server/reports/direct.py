"""The same figures straight from the tables with pandas: another way to the numbers of a report."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import norm
from sqlalchemy import text

from shimstock_server.database.session import Database

READINGS = """
SELECT m.id AS model_id, j.id AS job_id, i.id AS instrument_id, s.id AS sheet_id, s.stage, s.taken_at,
       s.at_pitch, s.acclimatised, s.position, s.supersedes_id, s.room_temperature, s.room_humidity,
       r.number, r.quantity, r.side, r.string, r.fret, r.hold_low, r.hold_high, r.capo, r.value,
       r.zero_or_less, r.resolution, r.repeatability, j.state AS job_state
FROM readings r JOIN reading_sheets s ON s.id = r.sheet_id JOIN jobs j ON j.id = s.job_id
JOIN instruments i ON i.id = j.instrument_id JOIN instrument_models m ON m.id = i.model_id
"""
DONE = "SELECT job_id, done_at FROM adjustments"
MOVES = "SELECT job_id, to_state, created_at FROM job_moves"
JOBS = "SELECT id AS job_id, instrument_id, created_at, worked_minutes FROM jobs"

LIMITS = {
    # the spec of the tests' shop (tests/server/workshop.py)
    ("relief", "bass"): (0.10, 0.30), ("relief", "treble"): (0.10, 0.30),
    ("action", "bass"): (1.45, 1.95), ("action", "treble"): (1.25, 1.75),
    ("nut-action", "bass"): (0.35, 0.60), ("nut-action", "treble"): (0.25, 0.50),
    **{("intonation", f"string {n}"): (-3.0, 3.0) for n in range(1, 7)},
}  # fmt: skip
COARSEST = {"intonation": (1.0, 1.2)}  # an ordinary tuner at fret 12, from memory


def read(database: Database, statement: str, dates: tuple[str, ...] = ()) -> pd.DataFrame:
    """Read a statement's rows; ids as text, instants in UTC."""
    with database.read() as session:
        result = session.execute(text(statement))
        frame = pd.DataFrame(result.all(), columns=list(result.keys()))
    for name in frame.columns:
        if name.endswith("_id") or name == "job_id":
            frame[name] = frame[name].map(lambda each: None if each is None else str(each).replace("-", ""))
    for name in dates:
        frame[name] = pd.to_datetime(frame[name], utc=True, format="ISO8601")
    return frame


def readings(database: Database, zone: str = "Europe/Berlin") -> pd.DataFrame:
    """Return the readings that count, with place, day and verdict."""
    frame = read(database, READINGS, ("taken_at",))
    # what is done in these shops, rod and strings, moves every quantity that they read
    last_done = read(database, DONE, ("done_at",)).groupby("job_id")["done_at"].max()
    done_with = frame["job_state"].isin(["ready", "collected"]) | (frame["stage"] == "final")
    frame["stands"] = done_with & ~(frame["taken_at"] <= frame["job_id"].map(last_done))
    return prepared(frame, zone)


def prepared(frame: pd.DataFrame, zone: str) -> pd.DataFrame:
    """Keep what counts and say where, on which day, and how it was judged; final is what stood at the end."""
    corrected = set(frame["supersedes_id"].dropna())
    frame = frame[
        frame["at_pitch"].astype(bool)
        & frame["acclimatised"].astype(bool)
        & (frame["position"] == "playing")
        & ~frame["sheet_id"].isin(corrected)
    ].copy()
    frame["day"] = frame["taken_at"].dt.tz_convert(zone).dt.date
    frame["place"] = frame["side"].where(
        frame["side"].notna(), "string " + frame["string"].fillna(0).astype(int).astype(str)
    )
    frame["zero_or_less"] = frame["zero_or_less"].astype(bool)
    frame["verdict"] = _verdicts(frame)
    stood = frame[frame["stands"]].sort_values("taken_at", kind="stable")
    last = stood.drop_duplicates(["job_id", "quantity", "place"], keep="last").assign(stage="final")
    return pd.concat([frame[frame["stage"] != "final"], last])


def _verdicts(frame: pd.DataFrame) -> Any:
    """JCGM 106:2012 7.3 with scipy's normal distribution; rectangular where only the step is known."""
    lower = np.array(
        [LIMITS.get(key, (np.nan,) * 2)[0] for key in zip(frame["quantity"], frame["place"], strict=True)]
    )
    upper = np.array(
        [LIMITS.get(key, (np.nan,) * 2)[1] for key in zip(frame["quantity"], frame["place"], strict=True)]
    )
    step = frame["resolution"].to_numpy(dtype=float)
    scatter = frame["repeatability"].to_numpy(dtype=float)
    for quantity, (resolution, repeatability) in COARSEST.items():
        unnamed = (frame["quantity"] == quantity).to_numpy() & np.isnan(step) & np.isnan(scatter)
        step, scatter = np.where(unnamed, resolution, step), np.where(unnamed, repeatability, scatter)
    value = frame["value"].to_numpy()
    u = np.fmax(scatter, step / np.sqrt(12))
    normal = norm.cdf((upper - value) / u) - norm.cdf((lower - value) / u)
    flat = np.clip((np.minimum(upper, value + step / 2) - np.maximum(lower, value - step / 2)) / step, 0, 1)
    chance = np.where(np.isnan(scatter), flat, normal)
    words = np.where(chance >= 0.95, "in", np.where(chance <= 0.05, "out", "close"))
    return np.where(np.isnan(lower) | frame["zero_or_less"].to_numpy(), "none", words)


def closed_jobs(database: Database, zone: str = "Europe/Berlin") -> pd.DataFrame:
    """Return the jobs that were ready: when, how long after being received, and whether they came back."""
    moves, jobs = read(database, MOVES, ("created_at",)), read(database, JOBS, ("created_at",))
    ready = (
        moves[moves["to_state"].isin(["ready", "returned-unrepaired"])].groupby("job_id")["created_at"].min()
    )
    received = moves[moves["to_state"] == "received"].groupby("job_id")["created_at"].min()
    jobs = jobs.set_index("job_id")
    jobs["ready"], jobs["received"] = ready, received
    jobs = jobs[jobs["ready"].notna()].copy()
    begun = jobs.groupby("instrument_id")["created_at"].apply(list).to_dict()
    ninety = pd.Timedelta(days=90)
    jobs["came_back"] = [
        any(at < other <= at + ninety for other in begun[instrument])
        for instrument, at in zip(jobs["instrument_id"], jobs["ready"], strict=True)
    ]
    jobs["day"] = jobs["ready"].dt.tz_convert(zone).dt.date
    jobs["hours"] = (jobs["ready"] - jobs["received"]).dt.total_seconds() / 3600
    return jobs
